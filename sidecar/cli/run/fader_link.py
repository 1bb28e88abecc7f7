"""The programme fader that a run reaches over OSC: a workstation's, or the rehearsal's simulated one."""

from __future__ import annotations

import argparse
import contextlib
import socket
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from sidecar.errors import SettingsError
from sidecar.osc.destinations import Destination, resolve
from sidecar.sources import FaderSource
from sidecar.sources.rehearsal.workstation import SimulatedWorkstation
from sidecar.surfaces.surface import Surface, load_surface

_REHEARSED = "decibels"


@dataclass(frozen=True, slots=True)
class FaderLink:
    """Through what and where the fader is reached."""

    surface: Surface
    target: Destination
    at_once: bool = False
    """Arms by itself: for a fader that can hurt nobody."""


Reach = Callable[[socket.socket], contextlib.AbstractContextManager[FaderLink | None]]
"""Given the socket that takes commands, says how the fader is reached for as long as the run lasts."""


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
        return no_fader
    if options.surface is None or options.surface_at is None:
        raise SettingsError(
            "A workstation's fader needs both: --surface says how it is spoken to, --surface-at where, "
            "such as --surface decibels --surface-at 127.0.0.1:8000."
        )
    reached = FaderLink(load_surface(options.surface), resolve(options.surface_at))

    @contextlib.contextmanager
    def reach(_server: socket.socket) -> Iterator[FaderLink]:
        yield reached

    return reach


def rehearsed(options: argparse.Namespace, source: FaderSource) -> Reach:
    """The fader of a simulated workstation on a real socket, where the person asked for one.

    Raises SettingsError where the surface cannot be used.
    """
    if options.surface is None and not options.obey:
        return no_fader
    surface = load_surface(options.surface or _REHEARSED)

    @contextlib.contextmanager
    def reach(server: socket.socket) -> Iterator[FaderLink]:
        desk = SimulatedWorkstation(surface, source, peer=server.getsockname()[:2])
        desk.start()
        try:
            yield FaderLink(surface, resolve("{}:{}".format(*desk.address)), options.obey)
        finally:
            desk.close()

    return reach
