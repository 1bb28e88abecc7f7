"""Hosts as servers on this machine meet them: in the headers of what asks, in addresses that are given."""

from __future__ import annotations

import ipaddress
import socket
from urllib.parse import urlsplit


def host_of(url: str) -> str:
    """The host named in a URL, without port and brackets; empty where there is none."""
    try:
        return urlsplit(url).hostname or ""
    except ValueError:
        return ""


def is_address(host: str) -> bool:
    """True for an address in figures, false for a name."""
    try:
        ipaddress.ip_address(host)
    except ValueError:
        return False
    return True


def is_loopback(host: str) -> bool:
    """True where nobody but this machine is meant."""
    return ipaddress.ip_address(host).is_loopback if is_address(host) else host == "localhost"


def is_ours(host: str, bind: str) -> bool:
    """Whether nobody far away can own the name *host* of a server bound to *bind*: this machine, an address
    in figures, its own name, or one in ``.local`` (RFC 6762 §3). A page elsewhere may call its own name by
    our address; it cannot call itself by ours."""
    if is_loopback(host):
        return True
    if is_loopback(bind):
        return False
    return is_address(host) or host.endswith(".local") or host == socket.gethostname().lower()
