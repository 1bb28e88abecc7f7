"""The line-up tone, and the process that plays it.

``python -m sidecar.doctor.tone_process ORDER`` says, one JSON object a line: ``{"output": label}`` when it
is open, ``{"playing": s}`` (monotonic clock) when the tone begins, which waits for a line on standard input,
and ``{"error": text}`` where it cannot. It leaves when the tone was played, or standard input ends.
"""

from __future__ import annotations

import json
import os
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from sidecar.doctor.channel_tones import tones
from sidecar.errors import SourceError
from sidecar.sources import portaudio
from sidecar.sources.inputs import JACK, PULSE_SERVERS
from sidecar.sources.output_process import channel_map

LEVEL_LUFS = -23.0
"""Tech 3341 §2.9 and case 1: a 1 kHz sine in phase on both channels reads its peak level."""
TONE_HZ = 1000.0
LENGTH_S = 5.0
RAMP_S = 0.02
"""Rise and fall, so that neither clicks (common practice, no source)."""

_LATENCY_S = 0.1


def tone(rate_hz: int) -> NDArray[np.float32]:
    """The tone with its ramps, shape (n, 2), full scale 1.0."""
    count = round(LENGTH_S * rate_hz)
    sine = 10.0 ** (LEVEL_LUFS / 20.0) * np.sin(2.0 * np.pi * TONE_HZ / rate_hz * np.arange(count))
    return _ramped(np.repeat(sine[:, None], 2, axis=1), rate_hz)


def channel_tones(rate_hz: int, channels: int) -> NDArray[np.float32]:
    """A tone of its own in each channel with its ramps, shape (n, channels), full scale 1.0."""
    return _ramped(tones(rate_hz, channels, LENGTH_S), rate_hz)


def _ramped(frames: NDArray[np.float64], rate_hz: int) -> NDArray[np.float32]:
    rise = np.sin(0.5 * np.pi * np.arange(round(RAMP_S * rate_hz)) / (RAMP_S * rate_hz))[:, None] ** 2
    frames[: len(rise)] *= rise
    frames[-len(rise) :] *= rise[::-1]
    return frames.astype(np.float32)


@dataclass(frozen=True, slots=True)
class ToneOrder:
    """Where to play, and how fast."""

    wanted: str | None
    """Part of an output's name; None for the one that belongs to the input."""
    input_name: str
    host_api: str
    """Of the input."""
    rate_hz: int
    sink: str = ""
    """The sound server's output that the input is the monitor of."""
    channels: int | None = None
    """A tone of its own in each of so many; None for the line-up tone in two."""

    def to_json(self) -> str:
        return json.dumps(asdict(self))


@dataclass(frozen=True, slots=True)
class Output:
    """One audio output that takes two channels or more."""

    index: int
    name: str
    host_api: str
    is_default: bool = False
    description: str = ""

    @property
    def label(self) -> str:
        return f"{self.name} ({self.host_api})"


def choose_output(outputs: Sequence[Output], order: ToneOrder) -> Output:
    """The output that a person named; else the input's other side, as virtual devices have one; else the
    system's own.

    Raises SourceError, with the names there are, when that is none or may be several.
    """
    there_are = f"There are: {', '.join(output.label for output in outputs) or 'none'}."
    if order.wanted is None:
        beside = [out for out in outputs if (out.name, out.host_api) == (order.input_name, order.host_api)]
        found = beside or [output for output in outputs if output.is_default]
        if not found:
            raise SourceError(
                f"The system names no output of its own: choose one with --play-to. {there_are}"
            )
        return found[0]
    key = order.wanted.casefold()
    named = [output for output in outputs if key in f"{output.label} {output.description}".casefold()]
    exact = [output for output in named if key in (output.name.casefold(), output.label.casefold())]
    named = exact or named
    named = [output for output in named if output.host_api == order.host_api] or named
    if len(named) != 1:
        wrong = "No output is called" if not named else "Several outputs are called"
        raise SourceError(f"{wrong} {order.wanted!r}: give the whole name with --play-to. {there_are}")
    return named[0]


class _Playback(Protocol):
    """An output that is open."""

    label: str

    def play(self, frames: NDArray[np.float32], began: Callable[[], None]) -> None:
        """Calls *began* when the first frame is handed over; returns when all was played."""


class _PortAudioPlayback:
    def __init__(self, order: ToneOrder, positions: tuple[str, ...]) -> None:
        sounddevice = portaudio.load()
        apis = [api["name"] for api in sounddevice.query_hostapis()]
        own = sounddevice.default.device[1]
        outputs = [
            Output(index, device["name"], apis[device["hostapi"]], index == own)
            for index, device in enumerate(sounddevice.query_devices())
            if device["max_output_channels"] >= len(positions)
        ]
        output = choose_output(outputs, order)
        self.label = output.label
        try:
            self._stream = sounddevice.OutputStream(
                device=output.index,
                channels=len(positions),
                samplerate=order.rate_hz,
                dtype="float32",
                latency=_LATENCY_S,
            )
        except sounddevice.PortAudioError as error:
            raise SourceError(
                f"{output.label} cannot be opened with {len(positions)} channels at {order.rate_hz} Hz "
                f"({error}). Let output and input run at one rate, or choose another output with --play-to."
            ) from error

    def play(self, frames: NDArray[np.float32], began: Callable[[], None]) -> None:
        self._stream.start()
        began()
        self._stream.write(frames)
        self._stream.stop()  # when all of it was played


class _PulsePlayback:
    def __init__(self, order: ToneOrder, positions: tuple[str, ...]) -> None:
        from sidecar.doctor.pulse_playback import PulsePlayback
        from sidecar.sources.pulse import connected

        with connected() as server:
            in_use = order.sink or server.about()[1]
            outputs = [
                Output(number, sink.name, order.host_api, sink.name == in_use, sink.description)
                for number, sink in enumerate(server.sinks())
            ]
        output = choose_output(outputs, order)
        self.label = output.label
        self._stream = PulsePlayback(output.name, order.rate_hz, positions)

    def play(self, frames: NDArray[np.float32], began: Callable[[], None]) -> None:
        began()
        self._stream.write(frames)
        self._stream.drain()


class _JackPlayback:
    """A client of our own with an output for each channel, connected to the inputs of a client where one is
    named; else the sidecar listens to it."""

    def __init__(self, order: ToneOrder, positions: tuple[str, ...]) -> None:
        from sidecar.sources import jack_client

        self.label = f"{jack_client.TONE_CLIENT} (JACK)"
        self._client = jack_client.ToneClient(len(positions))
        target = order.wanted or (order.input_name if order.input_name != jack_client.TONE_CLIENT else "")
        if target:
            self._client.connect_to(target)
            self.label = f"{target} (JACK)"

    def play(self, frames: NDArray[np.float32], began: Callable[[], None]) -> None:
        began()
        self._client.play(frames)


def _opened(order: ToneOrder, positions: tuple[str, ...]) -> _Playback:
    if order.host_api in PULSE_SERVERS:
        return _PulsePlayback(order, positions)
    if order.host_api == JACK:
        return _JackPlayback(order, positions)
    return _PortAudioPlayback(order, positions)


def _play(order: ToneOrder, say: Any) -> None:
    positions = channel_map(order.channels or 2)
    playback = _opened(order, positions)
    say(output=playback.label)
    if not sys.stdin.buffer.readline():
        return
    frames = channel_tones(order.rate_hz, order.channels) if order.channels else tone(order.rate_hz)
    playback.play(frames, lambda: say(playing=time.monotonic()))
    sys.stdin.buffer.read()  # a JACK client that leaves would end the recording of it


def main() -> None:
    """The process: never leaves the regular way, for a hung library would hold it for ever."""
    stdout = portaudio.take_stdout()

    def say(**fields: object) -> None:
        print(json.dumps(fields), file=stdout, flush=True)

    try:
        _play(ToneOrder(**json.loads(sys.argv[1])), say)
    except SourceError as error:
        say(error=str(error))
    except Exception as error:
        say(error=f"The tone cannot be played ({error!r}).")
    finally:
        os._exit(0)


if __name__ == "__main__":
    main()
