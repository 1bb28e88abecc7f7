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
from sidecar.osc.client import SubscriptionClient
from sidecar.osc.destinations import resolve
from sidecar.osc.udp import bind

_LARGEST = 65_535
_LOOK_S = 0.2
_DOUBT_S = 3.0
_DOUBT = (
    "Nothing is heard from {}. Is a sidecar running there, is that its command port (--osc-port), and may "
    "this machine speak to it (--osc-bind and --osc-allow there)?"
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
    """To whatever comes."""
    with bind(options.bind, options.port, "--port") as server:
        server.settimeout(_LOOK_S)
        host, port = server.getsockname()[:2]
        print(f"Listening for OSC on {host}:{port}; end with Ctrl-C.", file=sys.stderr, flush=True)
        while time.monotonic() < end_s:
            _hear(server, options)


def _ask(options: argparse.Namespace, end_s: float) -> None:
    """For what one sidecar sends."""
    asking = SubscriptionClient(resolve(options.source), options.osc_root)
    asking.socket.settimeout(_LOOK_S)
    print(f"Asking {options.source} for its OSC; end with Ctrl-C.", file=sys.stderr, flush=True)
    doubt_s = time.monotonic() + _DOUBT_S
    with contextlib.closing(asking):
        while (now_s := time.monotonic()) < end_s:
            asking.keep_up(now_s)
            if _hear(asking.socket, options, asking):
                asking.note_answer(now_s)
                doubt_s = now_s + _DOUBT_S
            elif now_s > doubt_s:
                doubt_s = math.inf
                print(_DOUBT.format(options.source), file=sys.stderr, flush=True)


def _hear(
    server: socket.socket, options: argparse.Namespace, asking: SubscriptionClient | None = None
) -> bool:
    """Prints one datagram; False when none came for a while. asking: answers what the sidecar asks back."""
    try:
        data, sender = server.recvfrom(_LARGEST)
    except TimeoutError:
        return False
    except OSError:  # nobody is there, or no way leads there now
        time.sleep(_LOOK_S)
        return False
    try:
        messages = codec.parse(data)
    except ValueError as error:
        print(f"{sender[0]}: not OSC that can be read: {printable(str(error))}", file=sys.stderr)
        return True
    for address, arguments in messages:
        if asking and address == f"{options.osc_root}/verify":
            asking.verify(*arguments)
        if address.startswith(options.only):
            print(_line(address, arguments, as_json=options.json), flush=True)
    return True


def _line(address: str, arguments: list[Any], *, as_json: bool) -> str:
    if as_json:
        return json.dumps({"address": address, "arguments": arguments}, default=str)
    told = " ".join([address, *(f"{a:.2f}" if isinstance(a, float) else str(a) for a in arguments)])
    return printable(told)
