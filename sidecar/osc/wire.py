"""OSC 1.0 packets: bundles out, checked messages in. No sockets here."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from typing import Any, cast

from pythonosc.osc_bundle_builder import OscBundleBuilder
from pythonosc.osc_message_builder import OscMessageBuilder
from pythonosc.osc_packet import OscPacket

LARGEST_DATAGRAM = 1200
"""Bytes. An IPv6 path carries at least 1280, less 48 of headers: nothing this small is ever split."""

WIRE_SILENCE = -120.0
"""What silence is on the wire, where neither infinity nor NaN may appear."""

_BUNDLE_HEADER = 16
_ELEMENT_HEADER = 4
_DEEPEST_BUNDLE = 4
_PATTERN = frozenset(b"*?[]{}")


def message(address: str, tags: str, values: Iterable[float | int | str]) -> Any:
    """One OSC message whose arguments have exactly the documented types.

    tags: one a value; a trailing ``*`` repeats the tag before it. Silence, infinities and NaN become
    numbers that a receiver can draw.
    """
    builder = OscMessageBuilder(address)
    for index, value in enumerate(values):
        tag = tags[min(index, len(tags.rstrip("*")) - 1)]
        builder.add_arg(_plain(tag, value), tag)
    return builder.build()


def _plain(tag: str, value: float | int | str) -> float | int | str:
    if tag == "s":
        return str(value).encode("ascii", "replace").decode()
    number = float(value)
    if not math.isfinite(number):
        number = -WIRE_SILENCE if number > 0 else WIRE_SILENCE
    return int(number) if tag == "i" else number


def bundles(messages: Iterable[Any], unix_time_s: float) -> Iterator[bytes]:
    """Packs messages into as few bundles as fit in LARGEST_DATAGRAM each, all stamped with that time."""
    stamp = cast(int, unix_time_s)  # the library takes a float and says int
    builder, size = OscBundleBuilder(stamp), _BUNDLE_HEADER
    for element in messages:
        more = _ELEMENT_HEADER + element.size
        if size > _BUNDLE_HEADER and size + more > LARGEST_DATAGRAM:
            yield builder.build().dgram
            builder, size = OscBundleBuilder(stamp), _BUNDLE_HEADER
        builder.add_content(element)
        size += more
    if size > _BUNDLE_HEADER:
        yield builder.build().dgram


def fault(datagram: bytes) -> str | None:
    """Why a datagram must not reach the parser; None means that it may.

    The library's parser loops for ever on a negative element size and recurses as deep as it is told.
    """
    todo = [(datagram, 0)]
    while todo:
        part, depth = todo.pop()
        if part[:1] == b"/":
            address = part.split(b"\0", 1)[0]
            if not address.isascii() or set(address) & _PATTERN:
                return "the address is not a plain ASCII path"
            continue
        if part[:8] != b"#bundle\0" or len(part) < _BUNDLE_HEADER or depth >= _DEEPEST_BUNDLE:
            return "neither a message nor a shallow bundle"
        at = _BUNDLE_HEADER
        while at < len(part):
            size = int.from_bytes(part[at : at + 4], "big", signed=True)
            if size < 4 or size % 4 or at + 4 + size > len(part):
                return f"element size {size} at byte {at}"
            todo.append((part[at + 4 : at + 4 + size], depth + 1))
            at += 4 + size
    return None


def parse(datagram: bytes) -> list[tuple[str, list[Any]]]:
    """Address and arguments of each message in a datagram, in order.

    Raises ValueError, with the reason, for anything that is not sound OSC.
    """
    reason = fault(datagram)
    if reason is not None:
        raise ValueError(reason)
    try:
        found = OscPacket(datagram).messages
    except Exception as error:  # the library raises four unrelated families of errors
        raise ValueError(str(error) or type(error).__name__) from error
    return [(timed.message.address, list(timed.message.params)) for timed in found]
