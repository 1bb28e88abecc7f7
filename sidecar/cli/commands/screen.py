"""``sidecar screen``: the screen alone, on a run that plays elsewhere, in the terminal or in browsers."""

from __future__ import annotations

import argparse
import contextlib
import os
import secrets
import socket
import sys
from collections.abc import Callable

from sidecar.cli.run.closing import parting_lines
from sidecar.cli.run.screen import is_tab, show
from sidecar.cli.terminal.shutdown import ending
from sidecar.errors import MissingPackage
from sidecar.hosts import is_loopback

_FIRST_WORD_S = 1.0
"""Time in which a run that is there sends its first snapshot; else the screen opens and waits for it."""


def run(options: argparse.Namespace) -> int:
    """Shows it until the person leaves, which ends nothing."""
    return _in_browsers(options) if options.browser else _here(options)


def _here(options: argparse.Namespace) -> int:
    from sidecar.remote.feed import RemoteFeed

    is_orphan = _is_orphan(os.getppid())
    with contextlib.ExitStack() as closing:
        feed = closing.enter_context(RemoteFeed(options.attach, options.osc_root))

        def last_words() -> int:
            closing.close()
            return 0

        with ending(last_words, has_screen=True) as asked:
            feed.wait(_FIRST_WORD_S)
            show(feed, options, "attached", lambda: asked.is_asked or is_orphan())
        if not is_tab():  # a tab of a browser has no terminal for lines to stay in
            for line in parting_lines(feed.snapshot(), options.attach):
                print(line)
    return 0


def _is_orphan(parent: int) -> Callable[[], bool]:
    """Whether this is the process of a browser tab whose server was killed, so that its output is lost."""
    return lambda: is_tab() and os.getppid() != parent


def _in_browsers(options: argparse.Namespace) -> int:
    from sidecar.osc.sockets.destinations import resolve
    from sidecar.osc.table.addresses import checked_root
    from tui.own_keys import own_keys

    try:
        from sidecar.web.guard import Guard
        from sidecar.web.server import WebPages, bind, serve
    except ImportError as error:
        raise MissingPackage(
            f"The screen in a browser needs a package ({error.name}): pip install textual-serve"
        ) from error
    own_keys()
    resolve(options.attach)  # a mistake is printed here, not in each tab
    checked_root(options.osc_root)
    server = bind(options.bind, options.port)
    host, port = server.getsockname()[:2]
    token = "" if is_loopback(host) else secrets.token_urlsafe(24)
    print(f"The screen is at {_link(host, port, token)}. End with Ctrl-C.", file=sys.stderr, flush=True)
    command = [sys.executable, "-m", "sidecar", "screen", "--attach", options.attach]
    command += ["--osc-root", options.osc_root, "--fps", str(options.fps)]
    for name in ("contrast", "ground"):
        if value := getattr(options, name):
            command += [f"--{name}", value]
    serve(server, WebPages(command, Guard(host, token), port))
    return 0


def _link(host: str, port: int, token: str) -> str:
    if host in ("0.0.0.0", "::"):
        host = _own_address() if host == "0.0.0.0" else socket.gethostname()
    place = f"[{host}]" if ":" in host else host
    return f"http://{place}:{port}/" + (f"?token={token}" if token else "")


def _own_address() -> str:
    """Returns the address of this machine on its network; its name where it has none."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # RFC 5737: a documentation address, and nothing is sent
        except OSError:
            return socket.gethostname()
        address: str = probe.getsockname()[0]
        return address
