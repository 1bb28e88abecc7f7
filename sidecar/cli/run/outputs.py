"""What a run sets off beside its readings: lamps, programs, and what a surface shows."""

from __future__ import annotations

import argparse
import contextlib
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from sidecar.alerts.programs import Reactions, reaction
from sidecar.cli.run.fader_link import FaderLink
from sidecar.lights.sender import Lamps, lamp_at
from sidecar.model.foreign_text import printable
from sidecar.model.snapshot import Outlet, Snapshot, Target
from sidecar.run.event_loop import EventLoop
from sidecar.surfaces.feedback import SurfaceFeedback


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

    reactions = Reactions([reaction(event, command) for event, command in options.on], report)
    lamps = Lamps([lamp_at(text) for text in options.light])
    with contextlib.ExitStack() as closing:
        engine.run(lamps.open())
        closing.callback(lambda: engine.run(lamps.close()))
        closing.callback(_print_unshown, unshown)
        closing.callback(lambda: engine.run(reactions.close()))
        takers: list[Callable[[Snapshot], None]] = []  # each wakes the loop with each snapshot
        if options.light:
            takers.append(lamps.offer)
        if options.on:
            takers.append(reactions.offer)
        if reached and reached.link.surface.show:
            display = SurfaceFeedback(reached.link.surface, reached.link.target)
            closing.callback(lambda: engine.run(display.close()))
            takers.append(display.offer)
        yield RunOutputs(tuple(_soon(engine, take) for take in takers), lamps.status)


def _print_unshown(sentences: list[str]) -> None:
    for sentence in sentences:
        print(f"sidecar: {printable(sentence)}", file=sys.stderr)


def _soon(engine: EventLoop, take: Callable[[Snapshot], None]) -> Outlet:
    return lambda snapshot: engine.soon(take, snapshot)
