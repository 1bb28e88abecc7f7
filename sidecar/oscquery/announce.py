"""Announces a run by name (DNS-SD over multicast DNS, RFC 6763 and 6762), on one interface only.

Source of the service types: the public OSCQuery proposal for ``_oscjson._tcp``, common practice for
``_osc._udp``; both from memory.
"""

from __future__ import annotations

import asyncio
import ipaddress
import re
import socket

from zeroconf import Error, ServiceInfo
from zeroconf.asyncio import AsyncZeroconf

from sidecar.errors import NetworkError, SettingsError
from sidecar.oscquery.tree import NAME

_LONGEST_MACHINE = 32
"""A label of a name has 63 bytes at most (RFC 1035 §2.3.4)."""

OSCQUERY, OSC = "_oscjson._tcp.local.", "_osc._udp.local."


def services(host: str, *, http_port: int, osc_port: int) -> tuple[ServiceInfo, ...]:
    """Returns the two services to announce: the HTTP port, and the UDP port of commands.

    The names include machine and port, since two runs on one machine cannot detect that they claim the same
    name: they share the port of multicast DNS, and an answer reaches only one of them.

    host: the address in figures that both ports are bound to.
    Raises SettingsError when that is no single address.
    """
    address = ipaddress.ip_address(host)
    if address.is_unspecified:
        raise SettingsError(
            f"--announce needs one address of this machine, not {host}: give --osc-bind that address."
        )
    machine = re.sub("[^A-Za-z0-9-]", "-", socket.gethostname().split(".")[0])[:_LONGEST_MACHINE]
    name, server = f"{NAME} on {machine} {http_port}", f"{machine}-sidecar-{http_port}.local."
    return tuple(
        ServiceInfo(kind, f"{name}.{kind}", port=port, addresses=[address.packed], server=server)
        for kind, port in ((OSCQUERY, http_port), (OSC, osc_port))
    )


class Announcement:
    """Announces some services from :meth:`open` to :meth:`close`. Used on the engine's loop only."""

    def __init__(self, announced: tuple[ServiceInfo, ...]) -> None:
        self._announced = announced
        self._zeroconf: AsyncZeroconf | None = None

    async def open(self) -> None:
        """Registers the services, in about two seconds; a name that another machine has gets a number.

        Call :meth:`close` even where it fails. Raises NetworkError where the network takes no multicast.
        """
        hosts = sorted({host for info in self._announced for host in info.parsed_addresses()})
        try:
            self._zeroconf = AsyncZeroconf(interfaces=hosts)
            await asyncio.gather(*(self._register(info) for info in self._announced))
        except (OSError, Error) as error:
            raise NetworkError(
                f"Cannot announce the run on {', '.join(hosts)}: {error}. Leave --announce out and enter "
                "address and port in the controller, or choose another interface with --osc-bind."
            ) from error

    async def close(self) -> None:
        """Withdraws the services, so that no machine keeps the name in its cache (RFC 6762 §10.1)."""
        if self._zeroconf:
            await self._zeroconf.async_unregister_all_services()
            await self._zeroconf.async_close()

    async def _register(self, info: ServiceInfo) -> None:
        assert self._zeroconf
        await (await self._zeroconf.async_register_service(info, allow_name_change=True))
