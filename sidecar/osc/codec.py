"""OSC 1.0 packets: bundles out, checked messages in. No sockets here."""

from __future__ import annotations

import math
import re
import struct
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from pythonosc.osc_message import OscMessage
from pythonosc.osc_packet import OscPacket

from sidecar.model.foreign_text import printable

LARGEST_DATAGRAM = 1200
"""Bytes. An IPv6 path carries at least 1280, less 48 of headers: a smaller datagram is never fragmented."""

WIRE_SILENCE = -120.0
"""The value of silence, and of any lower level, on the wire, where neither infinity nor NaN may appear."""

_UNPRINTABLE = re.compile(rb"[^ -~]")
_BUNDLE = b"#bundle\0"
_BUNDLE_HEADER = 16
_DEEPEST_BUNDLE = 4
_DEEPEST_ARRAY = 4
_MOST_I = 2**31 - 1

Value = float | int | str | bytes

_ARGUMENT_BYTES = {"i": 4, "f": 4, "r": 4, "m": 4, "h": 8, "d": 8, "t": 8} | dict.fromkeys("TFN[]", 0)
"""Size by type tag, of the tags that the library reads; the size of strings and blobs is in their data."""


_EPOCH_S = 2_208_988_800
"""From 1900, from which OSC times count, to 1970 (RFC 5905, figure 4)."""


@dataclass(frozen=True, slots=True)
class Message:
    """One OSC message as it is sent."""

    dgram: bytes

    @property
    def size(self) -> int:
        """Bytes."""
        return len(self.dgram)

    @property
    def arguments(self) -> list[Any]:
        """As a receiver reads them."""
        return list(OscMessage(self.dgram).params)


def message(address: str, tags: str, values: Iterable[Value]) -> Message:
    """One OSC message whose arguments have exactly the documented types.

    tags: one a value; a trailing ``*`` repeats the tag before it. Silence, infinities and NaN become
    numbers that a receiver can draw. Text is UTF-8: OSC 1.0 allows ASCII only, of which UTF-8 is a superset,
    and receivers in use read the other characters as bytes or as UTF-8.
    """
    given = tuple(values)
    head, types, numbers = _form(address, tags, len(given))
    plain = map(_plain, types, given)
    arguments = numbers.pack(*plain) if numbers else b"".join(map(_argument, types, plain))
    return Message(head + arguments)


@lru_cache(maxsize=1024)
def _form(address: str, tags: str, count: int) -> tuple[bytes, str, struct.Struct | None]:
    """What messages of so many arguments begin with, their types, and what packs them where all are numbers:
    most are sent ten times a second."""
    last = len(tags.rstrip("*")) - 1
    types = "".join(tags[min(index, last)] for index in range(count))
    numbers = None if set(types) & {"s", "b"} else struct.Struct(f">{types}")
    return _text(address) + _text(f",{types}"), types, numbers


def _text(text: str) -> bytes:
    """With one to four zeros behind, to a multiple of four bytes (OSC 1.0, "OSC-string")."""
    content = text.encode()
    return content + bytes(4 - len(content) % 4)


def _argument(tag: str, value: Value) -> bytes:
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, bytes):
        return struct.pack(">i", len(value)) + value + bytes(-len(value) % 4)
    return struct.pack(">" + tag, value)


def clipped(text: str, most_bytes: int) -> str:
    """Returns the beginning of *text* that takes at most *most_bytes* bytes in UTF-8."""
    return text.encode("utf-8", "replace")[:most_bytes].decode("utf-8", "ignore")


def _plain(tag: str, value: Value) -> Value:
    if tag == "b" and isinstance(value, bytes):
        return value
    if tag == "s":
        return printable(str(value)).encode("utf-8", "replace").decode()
    number = float(value)
    if not math.isfinite(number):
        number = -WIRE_SILENCE if number > 0 else WIRE_SILENCE
    return max(-_MOST_I, min(int(number), _MOST_I)) if tag == "i" else max(number, WIRE_SILENCE)


def level_of(value: float) -> float:
    """Returns the level of a value from the wire: ±120 is ±infinity, as :func:`message` encodes it."""
    return math.copysign(math.inf, value) if abs(value) == -WIRE_SILENCE else value


def bundles(messages: Iterable[Message], unix_time_s: float) -> Iterator[bytes]:
    """Packs messages into as few bundles as fit in LARGEST_DATAGRAM each, all stamped with that time."""
    header = _BUNDLE + struct.pack(">Q", int((unix_time_s + _EPOCH_S) * 2**32))
    packed = header
    for element in messages:
        more = element.dgram
        if len(packed) > _BUNDLE_HEADER and len(packed) + 4 + len(more) > LARGEST_DATAGRAM:
            yield packed
            packed = header
        packed += len(more).to_bytes(4, "big") + more
    if len(packed) > _BUNDLE_HEADER:
        yield packed


def fault(datagram: bytes) -> str | None:
    """Returns why a datagram must not reach the parser; None where it may.

    The library's parser loops for ever on a negative element size, recurses without a limit, pads short
    numbers with zeros and skips unknown tags, so that later arguments shift.
    """
    todo = [(datagram, 0)]
    while todo:
        part, depth = todo.pop()
        if part[:1] == b"/":
            reason = _message_fault(part)
            if reason is not None:
                return reason
            continue
        if part[:8] != _BUNDLE or len(part) < _BUNDLE_HEADER or depth >= _DEEPEST_BUNDLE:
            return "neither a message nor a shallow bundle"
        at = _BUNDLE_HEADER
        while at < len(part):
            size = int.from_bytes(part[at : at + 4], "big", signed=True)
            if size < 4 or size % 4 or at + 4 + size > len(part):
                return f"element size {size} at byte {at}"
            todo.append((part[at + 4 : at + 4 + size], depth + 1))
            at += 4 + size
    return None


def _message_fault(part: bytes) -> str | None:
    """Returns why one message, which begins with ``/``, cannot be read; None where it can."""
    at = _after_text(part, 0)
    if at is None or _UNPRINTABLE.search(part[: part.index(0)]):
        return "the address has no end, or is not printable ASCII"
    if at == len(part):
        return None  # senders from before OSC 1.0 leave the tags out where nothing follows
    tags_at, at = at, _after_text(part, at)
    if at is None or part[tags_at : tags_at + 1] != b",":
        return "the type tags cannot be read"
    for tag in part[tags_at + 1 : part.index(0, tags_at)].decode("latin-1"):
        at = _after_argument(part, at, tag)
        if at is None or at > len(part):
            return f"the argument of the type tag {tag!r} cannot be read"
    if at != len(part):
        return f"{len(part) - at} bytes more than the type tags describe"
    return _array_fault(part[tags_at : part.index(0, tags_at)])


def _array_fault(tags: bytes) -> str | None:
    """Returns why the arrays among type tags cannot be read; None where they can. The depth is limited since
    the text of an error about an array would nest as deeply."""
    depth = 0
    for tag in tags:
        depth += (tag == ord("[")) - (tag == ord("]"))
        if not 0 <= depth <= _DEEPEST_ARRAY:
            return f"an array ends that never began, or more than {_DEEPEST_ARRAY} are nested"
    return "an array has no end" if depth else None


def _after_text(part: bytes, at: int) -> int | None:
    """Returns the offset behind a string and padding; None where it never ends (OSC 1.0, "OSC-string")."""
    end = part.find(0, at)
    after = (end // 4 + 1) * 4
    return after if end >= 0 and after <= len(part) else None


def _after_argument(part: bytes, at: int, tag: str) -> int | None:
    if tag == "s":
        return _after_text(part, at)
    if tag == "b":
        size = int.from_bytes(part[at : at + 4], "big", signed=True)
        return at + 4 + (size + 3) // 4 * 4 if size >= 0 else None
    size = _ARGUMENT_BYTES.get(tag, -1)
    return at + size if size >= 0 else None


def parse(datagram: bytes) -> list[tuple[str, list[Any]]]:
    """Returns address and arguments of each message in a datagram, in order; texts made :func:`printable`.

    Raises ValueError, with the reason, for a malformed datagram.
    """
    reason = fault(datagram)
    if reason is not None:
        raise ValueError(reason)
    try:
        found = OscPacket(datagram).messages
    except Exception as error:  # the library raises four unrelated families of errors
        raise ValueError(str(error) or type(error).__name__) from error
    return [(timed.message.address, _printable(timed.message.params)) for timed in found]


def _printable(values: Iterable[Any]) -> list[Any]:
    """Returns the values with texts made printable; arrays are lists, at most _DEEPEST_ARRAY deep."""
    return [
        printable(value)
        if isinstance(value, str)
        else _printable(value)
        if isinstance(value, list)
        else value
        for value in values
    ]
