"""Playback to one output of PulseAudio or PipeWire, by way of libpulse's simple interface."""

from __future__ import annotations

import ctypes
from ctypes import POINTER, byref, c_char_p, c_int, c_size_t, c_void_p
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sidecar.errors import SourceError
from sidecar.sources.pulse import CLIENT_NAME, FLOAT32LE, ChannelMap, SampleSpec, load

LIBRARY = "libpulse-simple.so.0"

_PLAYBACK = 1  # PA_STREAM_PLAYBACK, pulse/def.h


class PulsePlayback:
    """An open stream of 32-bit floats to one output."""

    def __init__(self, output: str, rate_hz: int, positions: tuple[str, ...]) -> None:
        """Raises SourceError where it cannot be opened."""
        pulse = load()
        try:
            self._simple = ctypes.CDLL(LIBRARY)
        except OSError as error:
            raise SourceError(
                f"The library {LIBRARY} cannot be loaded ({error}). Install libpulse0."
            ) from error
        self._declare()
        channel_map = ChannelMap()
        pulse.pa_channel_map_parse(byref(channel_map), ",".join(positions).encode())
        fault = c_int()
        self._stream = self._simple.pa_simple_new(
            *(None, CLIENT_NAME.encode(), _PLAYBACK, output.encode(), b"line-up tone"),
            *(byref(SampleSpec(FLOAT32LE, rate_hz, len(positions))), byref(channel_map), None, byref(fault)),
        )
        if not self._stream:
            reason = pulse.pa_strerror(fault).decode(errors="replace")
            raise SourceError(f"{output} cannot be opened with {len(positions)} channels ({reason}).")

    def write(self, frames: NDArray[np.float32]) -> None:
        """Hands frames of shape (n, channels) over; waits while the server's buffer is full."""
        whole = np.ascontiguousarray(frames)
        self._simple.pa_simple_write(self._stream, whole.ctypes.data, whole.nbytes, None)

    def drain(self) -> None:
        """Waits until all was played."""
        self._simple.pa_simple_drain(self._stream, None)

    def _declare(self) -> None:
        signatures: dict[str, tuple[Any, ...]] = {
            "pa_simple_new": (
                *(c_void_p, c_char_p, c_char_p, c_int, c_char_p, c_char_p),
                *(POINTER(SampleSpec), POINTER(ChannelMap), c_void_p, POINTER(c_int)),
            ),
            "pa_simple_write": (c_int, c_void_p, c_void_p, c_size_t, c_void_p),
            "pa_simple_drain": (c_int, c_void_p, c_void_p),
        }
        for name, (result, *arguments) in signatures.items():
            function = getattr(self._simple, name)
            function.restype, function.argtypes = result, arguments
