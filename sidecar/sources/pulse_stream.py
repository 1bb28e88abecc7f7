"""A recording from one source of PulseAudio or PipeWire, and from no other.

The server is asked not to move the recording to another source, and where it is attached is compared after
opening and while it runs.
"""

from __future__ import annotations

import ctypes
from collections.abc import Iterator
from ctypes import POINTER, byref, c_size_t, c_void_p

import numpy as np
from numpy.typing import NDArray

from sidecar.errors import SourceError
from sidecar.sources.pulse import FLOAT32LE, BufferAttr, ChannelMap, PulseServer, SampleSpec

_FRAGMENT_S = 0.05
_BUFFER_S = 4.0  # kept by the server while this process is not scheduled

# Values of the public headers pulse/def.h.
_READY, _FAILED = 2, 3
_NO_REMAP, _NO_REMIX, _DONT_MOVE, _ADJUST_LATENCY = 0x0010, 0x0020, 0x0200, 0x2000
_DEFAULT = 0xFFFFFFFF


class PulseStream:
    """A recording in 32-bit floats, open from construction on."""

    def __init__(self, server: PulseServer, source: str, rate_hz: int, positions: tuple[str, ...]) -> None:
        """Opens a recording of *source* with its own channel map, so that nothing is mixed.

        Raises SourceError where the source is not there.
        """
        self._server = server
        self._pulse = server.library
        self._source = source
        self._width = len(positions)
        self._stream = self._open(rate_hz, positions)
        self._check_attached()

    def chunks(self) -> Iterator[tuple[NDArray[np.float32], int]]:
        """Yields frames of shape (n, channels), valid until the next, and how many were lost before them.

        An empty chunk says that none arrived for 0.1 s. Raises SourceError when the recording ends or is
        moved to another source, ConnectionError when the server ends.
        """
        data, size = c_void_p(), c_size_t()
        empty = np.empty((0, self._width), np.float32)
        lost = 0
        while True:
            self._pulse.pa_stream_peek(self._stream, byref(data), byref(size))
            if not size.value:
                self._server.iterate()
                self._check_attached()
                yield empty, 0
                continue
            count = size.value // (4 * self._width)
            if data.value:
                samples = ctypes.cast(data, POINTER(ctypes.c_float))
                yield np.ctypeslib.as_array(samples, (count, self._width)), lost
                lost = 0
            else:  # a hole in the recording
                lost += count
            self._pulse.pa_stream_drop(self._stream)

    def _open(self, rate_hz: int, positions: tuple[str, ...]) -> c_void_p:
        pulse = self._pulse
        spec = SampleSpec(FLOAT32LE, rate_hz, self._width)
        channel_map = ChannelMap()
        pulse.pa_channel_map_parse(byref(channel_map), ",".join(positions).encode())
        second_bytes = 4 * self._width * rate_hz
        buffer = BufferAttr(
            maxlength=int(_BUFFER_S * second_bytes),
            tlength=_DEFAULT,
            prebuf=_DEFAULT,
            minreq=_DEFAULT,
            fragsize=int(_FRAGMENT_S * second_bytes),
        )
        stream = c_void_p(
            pulse.pa_stream_new(self._server.context, b"measurement", byref(spec), byref(channel_map))
        )
        flags = _NO_REMAP | _NO_REMIX | _DONT_MOVE | _ADJUST_LATENCY
        if not stream or pulse.pa_stream_connect_record(stream, self._source.encode(), byref(buffer), flags):
            raise self._ended()
        while (state := pulse.pa_stream_get_state(stream)) != _READY:
            if state >= _FAILED:
                raise self._ended()
            self._server.iterate()
        return stream

    def _check_attached(self) -> None:
        if self._pulse.pa_stream_get_state(self._stream) != _READY:
            raise self._ended()
        attached = (self._pulse.pa_stream_get_device_name(self._stream) or b"").decode(errors="replace")
        if attached != self._source:
            raise SourceError(
                f"The sound server attached the recording of {self._source} to {attached or 'nothing'}. "
                f"That is not measured. Waiting for {self._source}."
            )

    def _ended(self) -> SourceError:
        return SourceError(
            f"The sound server ended the recording of {self._source} ({self._server.reason()}). "
            "Waiting for it; no other is taken."
        )
