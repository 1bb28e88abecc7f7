"""Live audio: a device through PortAudio in a process of its own, measured on whatever happens to it."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Iterator

import numpy as np

from sidecar.errors import DeviceLost, SourceError
from sidecar.model.units import figure
from sidecar.sources import Block
from sidecar.sources.capture_client import CaptureClient, State
from sidecar.sources.inputs import PREFERRED_RATE_HZ, channels_to_use, choose, list_devices, loudspeakers
from sidecar.sources.losses import ClockLoss
from sidecar.sources.sleep import Sleep, clocks
from sidecar.sources.watch import OPEN_LIMIT_S, CaptureWatchdog

_WAIT_S = 0.15

log = logging.getLogger(__name__)


class DeviceSource:
    """An audio input, open from construction on; what arrives before :meth:`blocks` is left out.

    name: part of an input's name, or None for the monitor of the output in use.
    rate_hz: None for the device's own where the system reports it, else 48000 if it takes that.
    channels: how many the output has that is listened to; needed where the device does not tell
    (ALSA's plug-ins: 2 are assumed). pick: the channels to give on, from 1, in
    this order; 1,2,5,6,3,4 turns ALSA's 5.1 into that of files. patience_s: how long a device that
    went away may take to come back. read_clocks: as :func:`sidecar.sources.sleep.clocks`.

    A device that comes back at another rate goes on at that one, unless *rate_hz* was given; one that
    comes back with other channels does not.

    Raises SourceError when there is no such input or it cannot be opened like that.
    """

    def __init__(
        self,
        name: str | None = None,
        *,
        rate_hz: int | None = None,
        channels: int | None = None,
        pick: tuple[int, ...] | None = None,
        patience_s: float = 30.0,
        read_clocks: Callable[[], tuple[float, float]] = clocks,
    ) -> None:
        if rate_hz is not None and rate_hz < 1:
            raise SourceError(f"A sampling rate must be at least 1 Hz, not {rate_hz}.")
        device = choose(list_devices(), name)
        self._device = device
        self._width, chosen = channels_to_use(device, channels, pick)
        self._columns = np.array(chosen, np.intp)
        self._pick = pick
        self._patience_s = patience_s
        self._lock = threading.Lock()
        self._closed = threading.Event()
        self._is_fixed = rate_hz is not None
        self._recorder = self._start(rate_hz or PREFERRED_RATE_HZ)
        self._rate_hz = self._wait_until_open()
        self._news = self._position = self._overflows = 0
        self._losses = ClockLoss(self._rate_hz)
        self._watch = CaptureWatchdog(patience_s, time.monotonic())
        self._read_clocks = read_clocks
        self._sleep = Sleep(*read_clocks())
        self._slept_s = self._stopped_s = 0.0
        self._fault = ""

    @property
    def title(self) -> str:
        """The device, the channels picked, and a volume on the way that changes every reading."""
        picked = "" if self._pick is None else " " + "+".join(map(str, self._pick))
        muted = ", muted" if self._device.is_muted else ""
        volume = f", at {figure(self._device.volume_db)} dB" if self._device.volume_db else ""
        return f"{self._device.name}{picked}{volume}{muted}"

    @property
    def rate_hz(self) -> int:
        return self._rate_hz

    @property
    def channels(self) -> int:
        return len(self._columns)

    @property
    def positions(self) -> tuple[str, ...] | None:
        """The loudspeakers of the channels in their order, where the sound server names them all."""
        return loudspeakers(
            [self._device.positions[column] for column in self._columns if self._device.positions]
        )

    @property
    def duration_s(self) -> None:
        """A device plays on."""

    def blocks(self) -> Iterator[Block]:
        """Blocks as they arrive, and one without frames after each 0.15 s in which nothing did.

        While the device is away the capture is started anew until it is back; the first block then
        says how much was lost. Raises DeviceLost when it cannot be opened within the patience.
        """
        self._follow(self._recorder.wait(-1, 0.0))
        self._watch = CaptureWatchdog(self._patience_s, time.monotonic())
        self._sleep = Sleep(*self._read_clocks())
        while not self._closed.is_set():
            state = self._recorder.wait(self._news, _WAIT_S)
            if self._closed.is_set():
                return
            self._news = state.news
            self._look_for_sleep(state)
            if state.rate_hz is not None:
                self._watch.opened(state.opened_s)
                self._go_on_at(state.rate_hz)
            yield self._take(state) if state.frames > self._position else self._miss(state)

    def close(self) -> None:
        with self._lock:
            self._closed.set()
        self._recorder.close()

    def _start(self, rate_hz: int) -> CaptureClient:
        return CaptureClient(self._device, self._width, rate_hz, is_fixed=self._is_fixed)

    def _wait_until_open(self) -> int:
        deadline = time.monotonic() + OPEN_LIMIT_S
        state = State()
        while state.rate_hz is None and state.ended is None and time.monotonic() < deadline:
            state = self._recorder.wait(state.news, _WAIT_S)
        if state.rate_hz is not None and state.ended is None:
            return state.rate_hz
        self.close()
        raise SourceError(
            state.ended
            or f"{self._device.label} did not open within {OPEN_LIMIT_S:.0f} s. "
            "The sound system hangs: restart it."
        )

    def _follow(self, state: State) -> None:
        """Begins with a capture process, after what it has captured up to now."""
        self._news, self._position, self._overflows = state.news, state.frames, state.overflows
        self._losses = ClockLoss(self._rate_hz)

    def _go_on_at(self, rate_hz: int) -> None:
        if rate_hz != self._rate_hz:
            self._rate_hz = rate_hz
            self._losses = ClockLoss(rate_hz)

    def _look_for_sleep(self, state: State) -> None:
        found = self._sleep.since_last(*self._read_clocks(), state.frames)
        if any(found):
            self._slept_s += found.slept_s
            self._stopped_s += found.stopped_s
            self._watch.stood_still(found.counted_s)
            self._losses = ClockLoss(self._rate_hz)

    def _take(self, state: State) -> Block:
        overrun, frames = self._recorder.read(self._position, state.frames, self._columns)
        first_s = state.frames_s - (state.frames - self._position) / self._rate_hz
        gap = round(self._watch.report_frames(first_s, state.frames_s) * self._rate_hz)
        unheard = self._losses.count_lost(state.frames, state.frames_s)
        flagged = state.overflows - self._overflows  # how much each cost is for the clock to tell
        self._position, self._overflows = state.frames, state.overflows
        slept_s, stopped_s = self._slept_s, self._stopped_s
        self._slept_s, self._stopped_s, self._fault = 0.0, 0.0, ""
        lost = overrun + gap + unheard + flagged
        return Block(frames, lost=lost, slept_s=slept_s, stopped_s=stopped_s)

    def _miss(self, state: State) -> Block:
        now_s = time.monotonic()
        if state.ended is not None:
            self._watch.ended(now_s)
            self._fault = state.ended
        match self._watch.verdict(now_s):
            case "restart":
                self._restart()
            case "lost":
                raise DeviceLost(
                    f"{self._device.label} has not come back within {self._patience_s:g} s. "
                    f"{self._fault or 'The sound system does not answer.'}"
                )
        return Block(np.empty((0, self.channels), np.float32), fault=self._fault)

    def _restart(self) -> None:
        log.warning("the capture starts again: %s", self._fault or "no frames arrive")
        self._recorder.close()
        self._watch.started(time.monotonic())
        with self._lock:
            if self._closed.is_set():
                return
            try:
                self._recorder = self._start(self._rate_hz)
            except SourceError:  # short of memory for a moment; the watch tries again
                self._watch.ended(time.monotonic())
                return
        self._follow(State())
