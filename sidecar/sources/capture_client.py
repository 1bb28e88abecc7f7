"""One capture process as the measuring process sees it: started, listened to, killed."""

from __future__ import annotations

import json
import subprocess
import threading
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sidecar.sources.capture import CaptureOrder
from sidecar.sources.child import start_child
from sidecar.sources.inputs import DeviceInfo
from sidecar.sources.ring import Ring, RingFile, ring_capacity

_END_LIMIT_S = 0.4  # a killed process is gone at once, unless the kernel itself holds it


@dataclass(frozen=True, slots=True)
class State:
    """What a capture process has said so far."""

    news: int = 0
    """Counts what was said."""
    rate_hz: int | None = None
    """None until the stream is open."""
    opened_s: float = 0.0
    frames: int = 0
    """Frames complete in the ring, since the stream was opened."""
    frames_s: float = 0.0
    """When they were."""
    overflows: int = 0
    ended: str | None = None
    """Why the process ended; None while it runs."""


class CaptureClient:
    """Starts a capture process and keeps what it says; :meth:`close` from any thread."""

    def __init__(self, device: DeviceInfo, channels: int, rate_hz: int, *, is_fixed: bool) -> None:
        """Returns at once; watch :meth:`wait` for the stream to open or the process to end.

        rate_hz, is_fixed: see :class:`sidecar.sources.capture.CaptureOrder`.
        Raises SourceError when no process or no ring can be had.
        """
        capacity = ring_capacity(max(rate_hz, device.default_rate_hz), channels)
        self._file = RingFile(capacity, channels)
        try:
            self._ring: Ring | None = Ring(self._file.path, capacity, channels)
            width = device.input_channels if device.width_is_known else None
            order = CaptureOrder(
                *(device.name, device.host_api, channels, width),
                *(rate_hz, is_fixed, str(self._file.path), capacity),
            )
            self._process = start_child(
                "sidecar.sources.capture", order.to_json(), descriptors=self._file.descriptors
            )
        finally:
            self._file.close()
        self._state = State()
        self._changed = threading.Condition()
        self._listener = threading.Thread(target=self._listen, name="capture", daemon=True)
        self._listener.start()

    @property
    def pid(self) -> int:
        """The capture process."""
        return self._process.pid

    def wait(self, news: int, timeout_s: float) -> State:
        """The state as soon as more than *news* things were said, or after the time is over."""
        with self._changed:
            self._changed.wait_for(lambda: self._state.news > news, timeout_s)
            return self._state

    def read(
        self, start: int, stop: int, columns: slice | NDArray[np.intp]
    ) -> tuple[int, NDArray[np.float32]]:
        """Frames start…stop as :meth:`Ring.read` gives them; all are missing once it is closed."""
        with self._changed:
            if self._ring is None:
                return stop - start, np.empty((0, 0), np.float32)
            return self._ring.read(start, stop, columns)

    def close(self) -> None:
        """Kills the process, even one that hangs, and removes the ring."""
        self._process.kill()
        with suppress(subprocess.TimeoutExpired):
            self._process.wait(_END_LIMIT_S)
        self._listener.join(_END_LIMIT_S)
        with self._changed:
            if self._ring is not None:
                self._ring.close()
                self._ring = None
        self._file.close()
        if self._process.stdin:
            self._process.stdin.close()

    def _listen(self) -> None:
        stdout = self._process.stdout
        assert stdout is not None
        with stdout:
            for line in stdout:
                with suppress(ValueError):  # a line that its end cut short
                    self._note(json.loads(line))
        self._note({"error": f"The capture process ended (exit status {self._process.wait()})."})

    def _note(self, said: dict[str, Any]) -> None:
        match said:
            case {"frames": frames, "overflows": overflows, "at": at}:
                change: dict[str, Any] = {"frames": frames, "overflows": overflows, "frames_s": at}
            case {"opened": rate_hz, "at": at}:
                change = {"rate_hz": rate_hz, "opened_s": at}
            case {"error": error}:
                change = {"ended": self._state.ended or error}
            case _:
                return
        with self._changed:
            self._state = replace(self._state, news=self._state.news + 1, **change)
            self._changed.notify_all()
