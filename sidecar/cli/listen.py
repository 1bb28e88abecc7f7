"""``sidecar listen``: prints the OSC that arrives."""

from __future__ import annotations

import argparse
import json
import socket
import sys
import time
from typing import Any

from sidecar.osc import wire
from sidecar.osc.port import bind

_LARGEST = 65_535
_LOOK_S = 0.2


def run(options: argparse.Namespace) -> int:
    """Prints until it is interrupted or its time is over."""
    server = bind(options.bind, options.port, "--port")
    server.settimeout(_LOOK_S)
    host, port = server.getsockname()[:2]
    print(f"Listening for OSC on {host}:{port}; end with Ctrl-C.", file=sys.stderr, flush=True)
    end_s = time.monotonic() + options.for_s if options.for_s is not None else float("inf")
    try:
        while time.monotonic() < end_s:
            _hear(server, options)
    except KeyboardInterrupt:
        pass
    finally:
        server.close()
    return 0


def _hear(server: socket.socket, options: argparse.Namespace) -> None:
    try:
        data, sender = server.recvfrom(_LARGEST)
    except TimeoutError:
        return
    try:
        messages = wire.parse(data)
    except ValueError as error:
        print(f"{sender[0]}: not OSC that can be read: {error}", file=sys.stderr)
        return
    for address, arguments in messages:
        if address.startswith(options.only):
            print(_line(address, arguments, as_json=options.json), flush=True)


def _line(address: str, arguments: list[Any], *, as_json: bool) -> str:
    if as_json:
        return json.dumps({"address": address, "arguments": arguments}, default=str)
    return " ".join([address, *(f"{a:.2f}" if isinstance(a, float) else str(a) for a in arguments)])
