"""Framing of OSC packets on a byte stream. No sockets here."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Protocol

from pythonosc import slip

_SIZE = 4


class Framing(Protocol):
    """Encodes packets into frames, and decodes frames into packets."""

    recovers: bool
    """Whether the frame behind a broken one can be read."""

    def frame(self, packet: bytes) -> bytes:
        """Returns the packet as one frame."""

    def feed(self, data: bytes) -> Iterator[bytes | None]:
        """Yields each packet that *data* completes; None in the place of one that was too long or broken."""


def framing(first: bytes, largest: int) -> Framing:
    """Returns the framing of a stream that begins with these bytes.

    A size is less than 16 MiB, so its first byte is 0; no SLIP packet begins with that byte.
    largest: bytes of a packet.
    """
    return Sized(largest) if first[:1] == b"\0" else Slip(2 * largest)


class Slip:
    """SLIP with an END on both sides (OSC 1.1; RFC 1055). Buffers at most one frame."""

    recovers = True

    def __init__(self, largest: int) -> None:
        """largest: bytes of a frame as it is in the stream, where every byte may be escaped."""
        self._largest = largest
        self._begun = bytearray()
        self._is_too_long = False

    def frame(self, packet: bytes) -> bytes:
        return slip.encode(packet)

    def feed(self, data: bytes) -> Iterator[bytes | None]:
        *ended, rest = data.split(slip.END)
        for piece in ended:
            self._add(piece)
            yield from self._taken()
        self._add(rest)

    def _add(self, piece: bytes) -> None:
        if len(self._begun) + len(piece) > self._largest:
            self._is_too_long = True
        elif not self._is_too_long:
            self._begun += piece

    def _taken(self) -> Iterator[bytes | None]:
        begun, was_too_long = bytes(self._begun), self._is_too_long
        self._begun.clear()
        self._is_too_long = False
        if was_too_long:
            yield None
        elif begun:  # nothing comes between the END of one frame and that of the next
            yield slip.decode(begun) if slip.is_valid(begun) else None


class Sized:
    """The size as a 32-bit whole number in front of each packet (OSC 1.0, "OSC Packets")."""

    recovers = False

    def __init__(self, largest: int) -> None:
        """largest: bytes of a packet."""
        self._largest = largest
        self._begun = bytearray()

    def frame(self, packet: bytes) -> bytes:
        return len(packet).to_bytes(_SIZE, "big") + packet

    def feed(self, data: bytes) -> Iterator[bytes | None]:
        self._begun += data
        while len(self._begun) >= _SIZE:
            end = _SIZE + int.from_bytes(self._begun[:_SIZE], "big")
            if end > _SIZE + self._largest:
                self._begun.clear()
                yield None
                return
            if len(self._begun) < end:
                return
            packet = bytes(self._begun[_SIZE:end])
            del self._begun[:end]
            yield packet
