"""Access to the pages, decided by a request's headers alone. Pure.

Any page that is open in a browser can send requests to this machine. It cannot read answers of another
origin, but websockets are not restricted by origin, and a DNS name that its owner points at this machine is
the same origin. So host names that others can own are refused, and foreign origins too.
"""

from __future__ import annotations

import secrets

from sidecar.hosts import host_of, is_ours


class Guard:
    """Checks requests against the address and the token of one server."""

    def __init__(self, bind: str, token: str) -> None:
        """bind: the address that is listened on. token: required of each request; empty for none."""
        self._bind = bind
        self._token = token

    def refusal(self, host: str, origin: str | None, shown: tuple[str, ...], *, is_channel: bool) -> str:
        """Returns why a request is refused, in words for the user; empty where it is not.

        host, origin: the headers of these names. shown: the tokens of the request.
        is_channel: whether it is for a websocket, with which every browser sends an origin.
        """
        if not is_ours(host_of(f"//{host}"), self._bind):
            return f"'{host}' is not this machine: open it by its address."
        if (origin is not None or is_channel) and not _is_same(origin or "", host):
            return "pages of other origins are not allowed."
        if self._token and not any(_is_equal(one, self._token) for one in shown):
            return "open the whole link that `sidecar screen --browser` printed: it ends with a token."
        return ""


def _is_equal(shown: str, token: str) -> bool:
    return secrets.compare_digest(shown.encode(), token.encode())


def _is_same(origin: str, host: str) -> bool:
    """Whether *origin* is the page at *host*; it may have come through a proxy with https."""
    scheme, _, rest = origin.partition("://")
    return scheme in ("http", "https") and rest.lower() == host.lower()
