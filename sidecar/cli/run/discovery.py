"""Discovery beside a run, where options enable it."""

from __future__ import annotations

import argparse
import contextlib
import logging
import socket
from collections.abc import Iterator

from sidecar.errors import MissingPackage
from sidecar.model.snapshot import Outlet
from sidecar.osc.access import AccessPolicy, network
from sidecar.run.event_loop import EventLoop

_log = logging.getLogger(__name__)


@contextlib.contextmanager
def discovery(engine: EventLoop, options: argparse.Namespace, osc: socket.socket) -> Iterator[list[Outlet]]:
    """Serves discovery on the address that takes commands; yields the outlets that keep it up to date.

    osc: the bound socket that takes commands.
    Raises MissingPackage where a package is missing, SettingsError where the address cannot be announced,
    NetworkError where the port is taken or the network takes no multicast.
    """
    if options.discovery_port is None and not options.announce:
        yield []
        return
    try:
        from sidecar.oscquery.server import Discovery, bind

        if options.announce:
            from sidecar.oscquery.announce import Announcement, services
    except ModuleNotFoundError as error:
        raise MissingPackage(
            f"Discovery needs the package {error.name}: install it with 'pip install aiohttp zeroconf'."
        ) from error
    host, osc_port = osc.getsockname()[:2]
    with bind(host, options.discovery_port or 0) as server, contextlib.ExitStack() as closing:
        access = AccessPolicy([network(text) for text in options.osc_allow or ()])
        found = Discovery(osc_port, access, update_hz=options.osc_rate, root=options.osc_root)
        closing.callback(lambda: engine.run(found.close()))
        engine.run(found.open(server))
        http_port = server.getsockname()[1]
        _log.info("Discovery answers on %s, port %d", host, http_port)
        if options.announce:
            announcement = Announcement(services(host, http_port=http_port, osc_port=osc_port))
            closing.callback(lambda: engine.run(announcement.close()))
            engine.run(announcement.open())
        yield [lambda snapshot: engine.soon(found.offer, snapshot)]
