"""Who may look, judged by a request's headers alone. Pure.

Any page that a browser is lured to can send requests to this machine. It cannot read answers of another
origin, but websockets know no origins, and a name whose owner points it at this machine is the same origin.
So names that somebody far away can own are refused, and foreign origins too.
"""

from __future__ import annotations

import ipaddress
import secrets
import socket
from urllib.parse import urlsplit


class Guard:
    """Holds the one key of a server."""

    def __init__(self, bind: str, token: str) -> None:
        """bind: the address that is listened on. token: what a request has to bring; empty for none."""
        self._is_near = is_loopback(bind)
        self._token = token

    def fault(self, host: str, origin: str | None, shown: tuple[str, ...], *, is_channel: bool) -> str:
        """Why a request is refused, in words for the person; empty where it is not.

        host, origin: the headers of these names. shown: the tokens that came with it.
        is_channel: a websocket is asked for, which every browser sends an origin with.
        """
        if not self._is_ours(host):
            return f"'{host}' is not this machine: open it by its address."
        if (origin is not None or is_channel) and not _is_same(origin or "", host):
            return "pages of other origins may not look."
        if self._token and not any(_is_equal(one, self._token) for one in shown):
            return "open the whole link that `sidecar screen --browser` printed: it ends with a token."
        return ""

    def _is_ours(self, host: str) -> bool:
        """Whether nobody far away can own that name: an address, our own, or ``.local`` (RFC 6762 §3)."""
        name = _name(f"//{host}")
        if is_loopback(name):
            return True
        if self._is_near:
            return False
        return _is_address(name) or name.endswith(".local") or name == socket.gethostname().lower()


def is_loopback(host: str) -> bool:
    """Whether that is an address or the name of this machine that no other machine reaches."""
    return ipaddress.ip_address(host).is_loopback if _is_address(host) else host == "localhost"


def _is_equal(shown: str, token: str) -> bool:
    return secrets.compare_digest(shown.encode(), token.encode())


def _is_same(origin: str, host: str) -> bool:
    """Whether *origin* is the page at *host*; it may have come through a proxy that speaks https."""
    scheme, _, rest = origin.partition("://")
    return scheme in ("http", "https") and rest.lower() == host.lower()


def _name(url: str) -> str:
    """The host named in a URL, without port and brackets; empty where there is none."""
    try:
        return urlsplit(url).hostname or ""
    except ValueError:
        return ""


def _is_address(host: str) -> bool:
    try:
        ipaddress.ip_address(host)
    except ValueError:
        return False
    return True
