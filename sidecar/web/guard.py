"""Who may look, judged by a request's headers alone. Pure.

Any page that a browser is lured to can send requests to this machine. It cannot read answers of another
origin, but websockets know no origins, and a name whose owner points it at this machine is the same origin.
So names that somebody far away can own are refused, and foreign origins too.
"""

from __future__ import annotations

import secrets

from sidecar.hosts import host_of, is_ours


class Guard:
    """Holds the one key of a server."""

    def __init__(self, bind: str, token: str) -> None:
        """bind: the address that is listened on. token: what a request has to bring; empty for none."""
        self._bind = bind
        self._token = token

    def refusal(self, host: str, origin: str | None, shown: tuple[str, ...], *, is_channel: bool) -> str:
        """Why a request is refused, in words for the person; empty where it is not.

        host, origin: the headers of these names. shown: the tokens that came with it.
        is_channel: a websocket is asked for, which every browser sends an origin with.
        """
        if not is_ours(host_of(f"//{host}"), self._bind):
            return f"'{host}' is not this machine: open it by its address."
        if (origin is not None or is_channel) and not _is_same(origin or "", host):
            return "pages of other origins may not look."
        if self._token and not any(_is_equal(one, self._token) for one in shown):
            return "open the whole link that `sidecar screen --browser` printed: it ends with a token."
        return ""


def _is_equal(shown: str, token: str) -> bool:
    return secrets.compare_digest(shown.encode(), token.encode())


def _is_same(origin: str, host: str) -> bool:
    """Whether *origin* is the page at *host*; it may have come through a proxy that speaks https."""
    scheme, _, rest = origin.partition("://")
    return scheme in ("http", "https") and rest.lower() == host.lower()
