"""The master fader that a run reaches over OSC: a workstation's, or the rehearsal's simulated one."""

from __future__ import annotations

import argparse
import contextlib
import socket
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sidecar.errors import SettingsError
from sidecar.osc.sockets.destinations import resolve
from sidecar.settings.locations import data_folder
from sidecar.sources.sleep import real_time_s
from sidecar.surfaces.claim import FaderClaim
from sidecar.surfaces.link import SurfaceLink, peer_from
from sidecar.surfaces.surface import load_surface

if TYPE_CHECKING:
    from sidecar.sources.rehearsal import RehearsalSource

_REHEARSED = "decibels"


@dataclass(frozen=True, slots=True)
class FaderLink:
    """How the fader is reached."""

    link: SurfaceLink
    at_once: bool = False
    """Whether to arm at once: for a simulated fader, which cannot do harm."""


Reach = Callable[[socket.socket], contextlib.AbstractContextManager[FaderLink | None]]
"""Takes the socket of commands; yields the link to the fader for the duration of the run."""


@contextlib.contextmanager
def no_fader(_server: socket.socket) -> Iterator[None]:
    """None is reached."""
    yield None


def workstation(options: argparse.Namespace) -> Reach:
    """The fader that the person named with ``--surface`` and ``--surface-at``.

    Raises SettingsError where only one of the two is given or the surface cannot be used, NetworkError
    where the workstation's host is not found.
    """
    if options.surface is None and options.surface_at is None:
        if options.surface_from is not None:
            raise SettingsError("--surface-from goes with --surface and --surface-at: give all three.")
        return no_fader
    if options.surface is None or options.surface_at is None:
        raise SettingsError(
            "A workstation's fader needs --surface and --surface-at, such as --surface decibels "
            "--surface-at 127.0.0.1:8000."
        )
    _refuse_haste(options.pace)
    peer = None if options.surface_from is None else peer_from(options.surface_from)
    target = resolve(options.surface_at)
    surface = load_surface(options.surface)
    claim = FaderClaim(data_folder(), "{} {} {}".format(*target.address[:2], surface.fader_address))
    reached = FaderLink(SurfaceLink(surface, target, peer, clock=real_time_s, claim=claim))

    @contextlib.contextmanager
    def reach(_server: socket.socket) -> Iterator[FaderLink]:
        yield reached

    return reach


def _refuse_haste(pace: str) -> None:
    """A programme that runs as fast as it goes has no time in which a fader could move.

    Raises SettingsError.
    """
    if pace == "fast":
        raise SettingsError(
            "--pace fast and a workstation's fader exclude each other: a fader moves in real time. Leave "
            "out one of them."
        )


def rehearsed(options: argparse.Namespace, source: RehearsalSource, times: float) -> Reach:
    """Returns the fader of a simulated workstation on a real socket, where options ask for one.

    times: how much faster than real the rehearsal runs. Where it is faster, its fader travels in the
    rehearsal's own time and no audio is played, so arming, ramps and rests keep that time too.

    Raises SettingsError where the surface cannot be used.
    """
    if options.surface is None and not options.auto:
        return no_fader
    _refuse_haste(options.pace)
    surface = load_surface(options.surface or _REHEARSED)

    @contextlib.contextmanager
    def reach(server: socket.socket) -> Iterator[FaderLink]:
        from sidecar.sources.rehearsal.workstation import SimulatedWorkstation

        workstation = SimulatedWorkstation(surface, source, peer=server.getsockname()[:2], times=times)
        workstation.start()
        try:
            target = resolve("{}:{}".format(*workstation.address))
            clock = real_time_s if times == 1.0 else lambda: source.played_s
            link = SurfaceLink(surface, target, clock=clock)
            yield FaderLink(link, options.auto)
        finally:
            workstation.close()

    return reach
