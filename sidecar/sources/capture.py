"""The capture process: a sound server or PortAudio on one side, a ring and lines of JSON on the other.

Started by :mod:`sidecar.sources.capture_client` as ``python -m sidecar.sources.capture ORDER``. Says, one
JSON object a line: ``{"opened": rate_hz, "at": s}`` once, ``{"frames": n, "overflows": n, "at": s}``
for each 0.08 s of frames complete in the ring, and ``{"error": text}`` before it ends. Times are on the
monotonic clock, which all processes of a machine share. It ends when its standard input does.
"""

from __future__ import annotations

import json
import os
import sys
import threading
import time
import traceback
from dataclasses import asdict, dataclass
from pathlib import Path
from types import ModuleType
from typing import Any, TextIO

from numpy.typing import NDArray

from sidecar.errors import SourceError
from sidecar.sources import portaudio
from sidecar.sources.child import end_with_parent
from sidecar.sources.inputs import JACK, PULSE_SERVERS, DeviceInfo
from sidecar.sources.ring import Ring

_LATENCY_S = 0.1  # nothing is played back, so safety is worth more than speed
_BEAT_S = 0.5  # a stream of a dead server stops without calling back (measured with JACK)
_STEP_S = 0.08
"""Of sound between two lines. Each wakes the measuring process, which pays as much for 20 ms as for 100."""
_INVALID_RATE = -9997  # paInvalidSampleRate, portaudio.h


@dataclass(frozen=True, slots=True)
class CaptureOrder:
    """What to capture, and into which ring."""

    name: str
    host_api: str
    channels: int
    width: int | None
    """How many inputs the device must have; None where unknown."""
    rate_hz: int
    is_fixed: bool
    """True where no other rate will do; otherwise the device's own goes first, where it reports one, and
    others follow when it refuses."""
    ring: str
    capacity: int

    def to_json(self) -> str:
        return json.dumps(asdict(self))

    @classmethod
    def from_json(cls, text: str) -> CaptureOrder:
        return cls(**json.loads(text))


class Callback:
    """What PortAudio calls, on its own thread: copies, counts, wakes the main thread, no more."""

    def __init__(self, ring: Ring, stop: type[Exception]) -> None:
        self._ring = ring
        self._stop = stop
        self._overflowing = False
        self._overflows = 0
        self.wake = threading.Event()
        self.fault: str | None = None
        self.tick: tuple[int, int, float] = (0, 0, 0.0)
        """Frames complete in the ring, overflows, and when: replaced as a whole."""

    def __call__(self, frames: NDArray[Any], _count: int, _time: object, status: Any) -> None:
        try:
            self._ring.write(frames)
            # Some devices flag every callback without losing anything: only the start counts. What
            # is flagged on the first callback was lost before there was anything to lose.
            if status.input_overflow and not self._overflowing and self.tick[0] > 0:
                self._overflows += 1
            self._overflowing = bool(status.input_overflow)
            self.tick = (self._ring.written, self._overflows, time.monotonic())
        except Exception as error:
            self.fault = repr(error)
            raise self._stop from error
        finally:
            self.wake.set()


class Progress:
    """Says how far the ring is filled; what is left over is said at the end, or when nothing arrives."""

    def __init__(self, stdout: TextIO, rate_hz: int) -> None:
        self._stdout = stdout
        self._step = _STEP_S * rate_hz
        self._said = 0
        self._latest: tuple[int, int, float] = (0, 0, 0.0)
        _say(stdout, opened=rate_hz, at=time.monotonic())

    def __enter__(self) -> Progress:
        return self

    def __exit__(self, *_: object) -> None:
        self.say_rest()

    def report(self, frames: int, overflows: int, at_s: float) -> None:
        """frames: complete in the ring, at *at_s*. overflows: so far."""
        self._latest = frames, overflows, at_s
        if frames - self._said >= self._step:
            self.say_rest()

    def report_nothing(self, now_s: float) -> None:
        """Nothing more has arrived by now: what has waited for it as long as for a step is said."""
        if now_s - self._latest[2] >= _STEP_S:
            self.say_rest()

    def say_rest(self) -> None:
        frames, overflows, at_s = self._latest
        if frames > self._said:
            self._said = frames
            _say(self._stdout, frames=frames, overflows=overflows, at=at_s)


def run(order: CaptureOrder, stdout: TextIO) -> None:
    """Captures until the stream ends. Raises SourceError, in words for the person."""
    ring = Ring(Path(order.ring), order.capacity, order.channels)
    if order.host_api in PULSE_SERVERS:
        _capture_from_pulse(order, ring, stdout)
    elif order.host_api == JACK:
        _capture_from_jack(order, ring, stdout)
    else:
        _capture_from_portaudio(order, ring, stdout)


def _capture_from_pulse(order: CaptureOrder, ring: Ring, stdout: TextIO) -> None:
    from sidecar.sources import pulse
    from sidecar.sources.pulse_stream import PulseStream

    try:
        with pulse.connected() as server:
            device = pulse.find_source(server, order.name)
            rate_hz = _check(order, device)
            stream = PulseStream(server, device.name, rate_hz, device.positions)
            holes = 0
            with Progress(stdout, rate_hz) as progress:
                for frames, lost in stream.chunks():
                    if len(frames) == 0:
                        progress.report_nothing(time.monotonic())
                        continue
                    holes += lost > 0  # how much each cost is for the clock to tell
                    ring.write(frames)
                    progress.report(ring.written, holes, time.monotonic())
    except ConnectionError as error:
        raise SourceError(f"The sound server does not answer ({error}). Waiting for it.") from error


def _capture_from_jack(order: CaptureOrder, ring: Ring, stdout: TextIO) -> None:
    from sidecar.sources import jack_client

    try:
        with jack_client.connected() as server:
            device = jack_client.find_client(server, order.name)
            rate_hz = _check(order, device)
            recording = jack_client.JackRecording(server, device, order.channels, ring)
            recording.start()
            with Progress(stdout, rate_hz) as progress:
                for frames, xruns, at_s in recording.ticks():
                    progress.report(frames, xruns, at_s)
    except ConnectionError as error:
        raise SourceError(f"The JACK server does not answer ({error}). Waiting for it.") from error


def _check(order: CaptureOrder, device: DeviceInfo) -> int:
    """The rate of a server's source. Raises SourceError for another width or rate than was asked for."""
    # A JACK client may have more outputs than before: the first of them are recorded.
    if device.input_channels != order.channels and not (
        device.host_api == JACK and device.input_channels > order.channels
    ):
        raise _width_changed(order, device)
    if order.is_fixed and device.default_rate_hz != order.rate_hz:
        raise SourceError(
            f"{order.name} runs at {device.default_rate_hz} Hz, so {order.rate_hz} Hz would be converted: "
            "leave --rate out, or let the output run at that rate."
        )
    return device.default_rate_hz


def _width_changed(order: CaptureOrder, device: DeviceInfo) -> SourceError:
    return SourceError(
        f"{order.name} has {device.input_channels} channels now, and had {order.width} when measuring "
        "began. Set it back, or start again."
    )


def _capture_from_portaudio(order: CaptureOrder, ring: Ring, stdout: TextIO) -> None:
    sounddevice = portaudio.load()
    callback = Callback(ring, sounddevice.CallbackAbort)
    stream, rate_hz = _open(sounddevice, order, callback)
    reported = callback.tick
    with Progress(stdout, rate_hz) as progress:
        while stream.active or callback.tick != reported:
            callback.wake.wait(_BEAT_S)
            callback.wake.clear()
            progress.report_nothing(time.monotonic())
            if callback.tick != reported:
                reported = callback.tick
                progress.report(*reported)
    if callback.fault:
        raise SourceError(f"Capturing {order.name} failed inside the sidecar ({callback.fault}).")
    raise SourceError(f"The sound system ended the stream of {order.name}.")


def _open(sounddevice: ModuleType, order: CaptureOrder, callback: Callback) -> tuple[Any, int]:
    index, device = _found(sounddevice, order)
    rates_hz = (order.rate_hz,) if order.is_fixed else device.rates_after(order.rate_hz)
    for rate_hz in rates_hz:
        try:
            stream = sounddevice.InputStream(
                device=index,
                channels=order.channels,
                samplerate=rate_hz,
                dtype="float32",
                blocksize=0,  # fixed sizes glitch on some systems
                latency=_LATENCY_S,
                callback=callback,
                finished_callback=callback.wake.set,
            )
            stream.start()
        except sounddevice.PortAudioError as error:
            if len(error.args) > 1 and error.args[1] == _INVALID_RATE:
                continue
            raise SourceError(
                f"{order.name} cannot be opened with {order.channels} channels at {rate_hz} Hz ({error}). "
                "Close what else may hold it, or choose another input; sidecar devices lists them."
            ) from error
        return stream, rate_hz
    refused = " and ".join(map(str, rates_hz))
    raise SourceError(
        f"{order.name} refuses {refused} Hz. Set the rate of workstation and device. sidecar devices shows "
        "the rate of each input."
    )


def _found(sounddevice: ModuleType, order: CaptureOrder) -> tuple[int, DeviceInfo]:
    """The device's index in this process, and what it is now."""
    for number, given in portaudio.inputs(sounddevice).items():
        index, device = number, DeviceInfo(**given)
        if (device.name, device.host_api) == (order.name, order.host_api):
            break
    else:
        raise SourceError(
            f"The input {order.name} ({order.host_api}) is not there any more; plug it in again."
        )
    if order.width is not None and device.input_channels != order.width:
        raise _width_changed(order, device)
    return index, device


def _say(stdout: TextIO, **fields: object) -> None:
    print(json.dumps(fields), file=stdout, flush=True)


def main() -> None:
    """The process: never leaves the regular way, for a hung library would hold it for ever."""
    stdout = portaudio.take_stdout()
    end_with_parent()
    try:
        run(CaptureOrder.from_json(sys.argv[1]), stdout)
    except SourceError as error:
        _say(stdout, error=str(error))
    except Exception as error:
        traceback.print_exc()
        _say(stdout, error=f"The capture process failed ({error!r}); its log has the details.")
    finally:
        os._exit(1)


if __name__ == "__main__":
    main()
