"""What a run sets off beside its readings: lamps, programs, and what a surface shows."""

from __future__ import annotations

import argparse
import contextlib
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sidecar.cli.run.fader_link import FaderLink
from sidecar.model.foreign_text import printable
from sidecar.model.snapshot import Outlet, Snapshot, Target
from sidecar.run.event_loop import EventLoop
from sidecar.surfaces.feedback import SurfaceFeedback

if TYPE_CHECKING:
    from sidecar.alerts.programs import Reactions
    from sidecar.lights.sender import Lamps


@dataclass(frozen=True, slots=True)
class RunOutputs:
    """What a session is given of them."""

    outlets: tuple[Outlet, ...]
    status: Callable[[], tuple[Target, ...]]
    """Returns counts of datagrams for each lamp; may be called from any thread."""


@contextlib.contextmanager
def effects(
    engine: EventLoop,
    options: argparse.Namespace,
    reached: FaderLink | None,
    report_script_fault: Callable[[str], bool],
) -> Iterator[RunOutputs]:
    """Yields the outputs that options ask for; closes them with the lamps safe and every alert switched off.

    report_script_fault: shows a sentence on a script that failed; returns False where the run is over.
    Raises SettingsError for a light, an alert or a program that there is not, NetworkError for a lamp's
    place that cannot be found.
    """
    unshown: list[str] = []

    def report(sentence: str) -> None:
        if not report_script_fault(sentence):
            unshown.append(sentence)

    reactions = _reactions(options.on, report) if options.on else None
    with contextlib.ExitStack() as closing:
        takers: list[Callable[[Snapshot], None]] = []  # each wakes the loop with each snapshot
        status: Callable[[], tuple[Target, ...]] = tuple
        if options.light:
            lamps = _lit(engine, options.light, closing)
            takers.append(lamps.offer)
            status = lamps.status
        closing.callback(_print_unshown, unshown)
        if reactions:
            closing.callback(lambda: engine.run(reactions.close()))
            takers.append(reactions.offer)
        if reached and reached.link.surface.show:
            display = SurfaceFeedback(reached.link.surface, reached.link.target)
            closing.callback(lambda: engine.run(display.close()))
            takers.append(display.offer)
        yield RunOutputs(tuple(_soon(engine, take) for take in takers), status)


def _lit(engine: EventLoop, lights: Sequence[str], closing: contextlib.ExitStack) -> Lamps:
    """Returns the lamps, which are sent to until *closing* makes them safe. Imported where there are any."""
    from sidecar.lights.sender import Lamps, lamp_at

    lamps = Lamps([lamp_at(text) for text in lights])
    engine.run(lamps.open())
    closing.callback(lambda: engine.run(lamps.close()))
    return lamps


def _reactions(asked: Sequence[tuple[str, str]], report: Callable[[str], None]) -> Reactions:
    """Returns what runs the programs."""
    from sidecar.alerts.programs import Reactions, reaction

    return Reactions([reaction(event, command) for event, command in asked], report)


def _print_unshown(sentences: list[str]) -> None:
    for sentence in sentences:
        print(f"sidecar: {printable(sentence)}", file=sys.stderr)


def _soon(engine: EventLoop, take: Callable[[Snapshot], None]) -> Outlet:
    return lambda snapshot: engine.soon(take, snapshot)
