"""Hosts as servers on this machine meet them: in the headers of what asks, in addresses that are given."""

from __future__ import annotations

import errno
import ipaddress
import socket
from functools import lru_cache
from urllib.parse import urlsplit

from sidecar.errors import NetworkError

Address = ipaddress.IPv4Address | ipaddress.IPv6Address

THIS_MACHINE = "this machine"
_HIGHEST_PORT = 65_535


def host_of(url: str) -> str:
    """The host named in a URL, without port and brackets; empty where there is none."""
    try:
        return urlsplit(url).hostname or ""
    except ValueError:
        return ""


@lru_cache(maxsize=1024)
def address_of(host: str) -> Address | None:
    """The address in figures, without the zone of a link-local one, and IPv4 as itself where a socket for
    both wraps it; None for anything else."""
    try:
        address = ipaddress.ip_address(host.partition("%")[0])
    except ValueError:
        return None
    mapped = address.ipv4_mapped if isinstance(address, ipaddress.IPv6Address) else None
    return mapped or address


def sender_of(host: str) -> str:
    """One name for each machine that sends: this one has many addresses, and an address can be written in
    several ways."""
    address = address_of(host)
    if address is None:
        return host
    return THIS_MACHINE if address.is_loopback else str(address)


def is_address(host: str) -> bool:
    """True for an address in figures, false for a name."""
    try:
        ipaddress.ip_address(host)
    except ValueError:
        return False
    return True


def is_loopback(host: str) -> bool:
    """True where *host* names this machine alone."""
    return ipaddress.ip_address(host).is_loopback if is_address(host) else host == "localhost"


def is_ours(host: str, bind: str) -> bool:
    """True where no remote party can own the name *host* of a server bound to *bind*: this machine, a numeric
    address, its own name, or one in ``.local`` (RFC 6762 §3). A page elsewhere may call its own name by
    our address; it cannot call itself by ours."""
    if is_loopback(host):
        return True
    if is_loopback(bind):
        return False
    return is_address(host) or host.endswith(".local") or host == socket.gethostname().lower()


def why_unbound(error: OSError, host: str) -> str:
    """Why no socket could be had on *host*, in words for a person."""
    if error.errno == errno.EADDRINUSE:
        return "the port is taken"
    if isinstance(error, socket.gaierror) or error.errno == errno.EADDRNOTAVAIL:
        return f"{host} is no address of this machine"
    return error.strerror or str(error)


def checked_port(port: int, option: str) -> int:
    """The port itself. Raises NetworkError for one that is none."""
    if not 0 <= port <= _HIGHEST_PORT:
        raise NetworkError(f"{option}: give 0 to {_HIGHEST_PORT}, not {port}.")
    return port


def listening(host: str, port: int, option: str, what: str, advice: str) -> socket.socket:
    """A listening TCP socket on one address of this machine; port 0 takes any that is free.

    option: what chooses the port. what: what cannot be done where it cannot be had. advice: what to do then.
    Raises NetworkError when the port is taken or none, or the address is not this machine's.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    try:
        return socket.create_server((host, checked_port(port, option)), family=family)
    except OSError as error:
        raise NetworkError(f"Cannot {what} on {host}:{port}: {why_unbound(error, host)}. {advice}") from error
