"""``sidecar listen``: prints the OSC that arrives."""

from __future__ import annotations

import argparse
import contextlib
import json
import math
import socket
import sys
import time
from typing import Any

from sidecar.model.foreign_text import printable
from sidecar.osc import codec
from sidecar.osc.sockets.destinations import resolve
from sidecar.osc.sockets.udp import bind
from sidecar.osc.watch_client import WatchClient

_LARGEST = 65_535
_LOOK_S = 0.2
_DOUBT_S = 3.0
_DOUBT = (
    "Nothing arrives from {}. Check that a sidecar runs there, its --osc-port, its --osc-bind and its "
    "--osc-allow."
)


def run(options: argparse.Namespace) -> int:
    """Prints until it is interrupted or its time is over."""
    end_s = time.monotonic() + options.for_s if options.for_s is not None else math.inf
    with contextlib.suppress(KeyboardInterrupt):
        if options.source is None:
            _listen(options, end_s)
        else:
            _ask(options, end_s)
    return 0


def _listen(options: argparse.Namespace, end_s: float) -> None:
    """Prints each datagram that arrives at the port."""
    with bind(options.bind, options.port, "--port") as server:
        server.settimeout(_LOOK_S)
        host, port = server.getsockname()[:2]
        print(f"Listening for OSC on {host}:{port}. End with Ctrl-C.", file=sys.stderr, flush=True)
        while time.monotonic() < end_s:
            _print_datagram(server, options)


def _ask(options: argparse.Namespace, end_s: float) -> None:
    """Watches one sidecar and prints what it sends."""
    client = WatchClient(resolve(options.source), options.osc_root)
    client.socket.settimeout(_LOOK_S)
    print(f"Asking {options.source} for its OSC. End with Ctrl-C.", file=sys.stderr, flush=True)
    doubt_s = time.monotonic() + _DOUBT_S
    with contextlib.closing(client):
        while (now_s := time.monotonic()) < end_s:
            client.keep_up(now_s)
            if _print_datagram(client.socket, options, client):
                client.note_answer(now_s)
                doubt_s = now_s + _DOUBT_S
            elif now_s > doubt_s:
                doubt_s = math.inf
                print(_DOUBT.format(options.source), file=sys.stderr, flush=True)


def _print_datagram(
    server: socket.socket, options: argparse.Namespace, client: WatchClient | None = None
) -> bool:
    """Prints one datagram; returns False when none came for a while.

    client: of the watch, answers ``/verify``; None without one.
    """
    try:
        data, sender = server.recvfrom(_LARGEST)
    except TimeoutError:
        return False
    except OSError:  # no port is open there, or no route leads there now
        time.sleep(_LOOK_S)
        return False
    try:
        messages = codec.parse(data)
    except ValueError as error:
        print(f"{sender[0]}: unreadable OSC: {printable(str(error))}", file=sys.stderr)
        return True
    for address, arguments in messages:
        if client and address == f"{options.osc_root}/verify":
            client.verify(*arguments)
        if address.startswith(options.only):
            print(_line(address, arguments, as_json=options.json), flush=True)
    return True


def _line(address: str, arguments: list[Any], *, as_json: bool) -> str:
    if as_json:
        return json.dumps({"address": address, "arguments": arguments}, default=str)
    text = " ".join([address, *(f"{a:.2f}" if isinstance(a, float) else str(a) for a in arguments)])
    return printable(text)
