"""Test of the whole chain: the line-up tone is played at an output, recorded at an input and measured."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, closing
from dataclasses import dataclass

import numpy as np

from sidecar.doctor import channel_tones, signal_path
from sidecar.doctor.signal_path import Found
from sidecar.doctor.tone_player import TonePlayer
from sidecar.doctor.tone_process import LENGTH_S, LEVEL_LUFS, RAMP_S, TONE_HZ, ToneOrder
from sidecar.model.readings import FloatArray
from sidecar.model.units import decibel, figure
from sidecar.sources.device import DeviceSource
from sidecar.sources.inputs import JACK, PULSE_SERVERS, DeviceInfo, choose, list_devices
from sidecar.sources.jack_client import TONE_CLIENT

LEAD_S = 3.0
"""Time to turn the monitors down or to say no."""

_TOLERANCE_LU = 0.1
"""Tech 3341 §3, case 1."""
_TOLERANCE_HZ = 1.0
"""Clocks differ by a few parts in 10 000 at most; rates taken for each other by 8 % at least."""
_SINE_CREST_DB = 3.01
"""A sine's peak over its root mean square: the square root of 2."""
_TOLERANCE_CREST_DB = 0.5
"""Ours: what else sounds lies 25 dB under the tone at least."""
_NOTHING_LUFS = -70.0
"""The absolute gate of BS.1770-5 Annex 1."""
_ONE_SIDE_DB = 20.0
_TAIL_S = 1.5
"""What may still be on its way when the tone has left."""


_MEND_RATE = "something runs at another rate: open all of the chain at one, see sidecar live --rate"


@dataclass(frozen=True, slots=True)
class Arrival:
    """Frames that arrived during the test."""

    frames: FloatArray
    """Shape (n, channels), full scale 1.0."""
    lost: int
    at_s: float
    """Time of arrival on the monotonic clock, seconds."""


@dataclass(frozen=True, slots=True)
class ReceivedTone:
    """The tone as it was received."""

    level_lufs: float
    """Highest short-term loudness: its 3 s lie within the tone."""
    peaks_dbfs: tuple[float, float]
    is_exact_silence: bool
    frequency_hz: float
    """NaN where too little arrived."""
    crest_db: float
    """Peak over root mean square in the tone's midst; NaN where too little arrived."""
    latency_s: float | None
    """From the first frame handed to the output until the sidecar had it; None where something else sounded
    before."""
    dropped_samples: int

    @property
    def error_lu(self) -> float:
        return self.level_lufs - LEVEL_LUFS


def run_tone_test(
    device: str | None,
    play_to: str | None,
    caution: Callable[[str], None],
    *,
    channels: int | None = None,
    lead_s: float = LEAD_S,
) -> Iterator[Found]:
    """Plays the tone and yields the result of each check of the received signal.

    device: part of an input's name, or None for the monitor of the output in use.
    play_to: part of an output's name, or None for the input's other side, or the system's own.
    channels: plays a tone of its own in each of so many; None for the line-up tone in two.
    caution: called with the warning *lead_s* seconds before the tone sounds.
    Raises SourceError where input or output cannot be had.
    """
    inputs = list_devices()
    with ExitStack() as opened:
        if device is None and _is_jack_alone(inputs):
            player = opened.enter_context(closing(TonePlayer(_jack_order(inputs, channels))))
            input_device = choose(list_devices(), TONE_CLIENT)
            source = opened.enter_context(closing(_source(input_device, channels)))
        else:
            input_device = choose(inputs, device)
            source = opened.enter_context(closing(_source(input_device, channels)))
            order = ToneOrder(
                *(play_to, input_device.name, input_device.host_api, source.rate_hz),
                sink=input_device.monitored,
                channels=channels,
            )
            player = opened.enter_context(closing(TonePlayer(order)))
        yield from signal_path.check(input_device)
        caution(_caution(player.output, channels, lead_s))
        time.sleep(lead_s)
        arrivals = list(_arrivals(source, player))
        began_s = player.began_s()
    if channels is None:
        yield from judge(listen(arrivals, source.rate_hz, began_s), input_device, player.output)
        return
    frames = np.concatenate([arrival.frames for arrival in arrivals])
    yield from channel_tones.judge(
        channel_tones.measure(frames, source.rate_hz, channels), input_device, player.output
    )
    yield _dropped(sum(arrival.lost for arrival in arrivals))


def _is_jack_alone(inputs: Sequence[DeviceInfo]) -> bool:
    apis = {device.host_api for device in inputs}
    return JACK in apis and not apis & PULSE_SERVERS


def _jack_order(inputs: Sequence[DeviceInfo], channels: int | None) -> ToneOrder:
    """A tone to which the sidecar listens itself: it tests the way from JACK to the sidecar."""
    rate_hz = next(device.default_rate_hz for device in inputs if device.host_api == JACK)
    return ToneOrder(None, TONE_CLIENT, JACK, rate_hz, channels=channels)


def _source(device: DeviceInfo, channels: int | None) -> DeviceSource:
    """The whole of the input, or its first two channels for the line-up tone."""
    if channels is None:
        return DeviceSource(device.label, pick=(1, 2))
    width = device.input_channels if device.width_is_known else channels
    return DeviceSource(
        device.label,
        channels=None if device.width_is_known else channels,
        pick=tuple(range(1, width + 1)),
    )


def _caution(output: str, channels: int | None, lead_s: float) -> str:
    sound = f"a 1 kHz tone at {figure(LEVEL_LUFS)} LUFS"
    if channels is not None:
        lowest, highest = channel_tones.frequencies_hz(channels)[[0, -1]]
        sound = (
            f"{channels} tones at once, {lowest:.0f} to {highest:.0f} Hz, each at "
            f"{figure(channel_tones.level_dbfs(channels))} dBFS,"
        )
    return (
        f"CAUTION: {sound} will sound for {LENGTH_S:.0f} s on {output}, for all who listen there. "
        f"Turn monitors down and take headphones off. It starts in {lead_s:g} s; Ctrl-C keeps it silent."
    )


def _arrivals(source: DeviceSource, player: TonePlayer) -> Iterator[Arrival]:
    blocks = source.blocks()
    next(blocks)
    player.play()
    end_s = time.monotonic() + LENGTH_S + _TAIL_S
    for block in blocks:
        now_s = time.monotonic()
        yield Arrival(block.frames, block.lost, now_s)
        if now_s >= end_s:
            return


def listen(arrivals: Sequence[Arrival], rate_hz: int, began_s: float) -> ReceivedTone:
    """Returns the received tone, measured from the frames that arrived.

    began_s: when the first frame of the tone was handed to the output, on the monotonic clock.
    """
    from sidecar.meter import Meter

    frames = np.concatenate([np.empty((0, 2), np.float32), *(arrival.frames for arrival in arrivals)])
    meter = Meter(rate_hz, "stereo")
    meter.push(frames)
    reading = meter.reading()
    left, right = np.abs(frames).max(axis=0, initial=0.0)
    louder = frames[:, int(right > left)]
    loud = np.flatnonzero(np.abs(louder) > 0.5 * np.abs(louder).max(initial=0.0))
    onset = int(loud[0]) if loud.size else 0
    midst = louder[onset + rate_hz : onset + 4 * rate_hz]
    return ReceivedTone(
        level_lufs=reading.max_short_term,
        peaks_dbfs=(decibel(float(left)), decibel(float(right))),
        is_exact_silence=not frames.any(),
        frequency_hz=_frequency_hz(midst, rate_hz),
        crest_db=_crest_db(midst),
        latency_s=_latency_s(arrivals, onset, began_s) if loud.size else None,
        dropped_samples=sum(arrival.lost for arrival in arrivals),
    )


def _frequency_hz(sine: FloatArray, rate_hz: int) -> float:
    """Whole periods between the first and the last upward zero crossing, over their time."""
    upward = np.flatnonzero((sine[:-1] < 0.0) & (sine[1:] >= 0.0))
    if upward.size < 2:
        return float("nan")
    return float((upward.size - 1) * rate_hz / (upward[-1] - upward[0]))


def _crest_db(sine: FloatArray) -> float:
    if not sine.any():
        return float("nan")
    return decibel(float(np.abs(sine).max())) - decibel(float(np.sqrt(np.mean(np.square(sine, dtype=float)))))


def _latency_s(arrivals: Sequence[Arrival], onset: int, began_s: float) -> float | None:
    seen = 0
    for arrival in arrivals:
        seen += len(arrival.frames)
        if seen > onset:
            late_s = arrival.at_s - began_s - 0.5 * RAMP_S  # half of its level is reached in mid-ramp
            return late_s if late_s > 0.0 else None
    return None


def judge(received: ReceivedTone, device: DeviceInfo, output: str) -> Iterator[Found]:
    """Yields the result of each check in words, with what to do where it failed.

    device: the input. output: the name of the output for messages.
    """
    source = device.name
    if received.level_lufs < _NOTHING_LUFS:
        yield Found("tone", False, f"nothing of it came from {output} to {source}; {_mend_silence(received)}")
        return
    if not abs(received.crest_db - _SINE_CREST_DB) <= _TOLERANCE_CREST_DB:
        yield Found(
            "tone",
            False,
            f"{source} receives something else, or more than the tone: stop all playback and try again, or "
            "choose a pair with --device and --play-to",
        )
        return
    yield _level(received, device)
    is_in_tune = abs(received.frequency_hz - TONE_HZ) <= _TOLERANCE_HZ
    yield Found(
        "tone's pitch",
        is_in_tune,
        f"{received.frequency_hz:.1f} Hz" + ("" if is_in_tune else f"; {_MEND_RATE}"),
    )
    late = "unknown: something else sounded before"
    if received.latency_s is not None:
        late = f"{received.latency_s * 1000.0:.0f} ms from handing it to the output until the meter has it"
    yield Found("tone's way", True, late)
    yield _dropped(received.dropped_samples)


def _dropped(samples: int) -> Found:
    said = f"{samples} samples were dropped"
    if samples == 0:
        return Found("dropped samples", True, said)
    return Found("dropped samples", False, f"{said}; close what loads the machine and try again")


def _level(received: ReceivedTone, device: DeviceInfo) -> Found:
    left, right = received.peaks_dbfs
    if abs(left - right) > _ONE_SIDE_DB:
        side = "left" if left > right else "right"
        remedy = f"only the {side} channel arrives: check balance and routing between output and input"
        return Found("tone's level", False, remedy)
    level = f"{_signed(received.error_lu)} LU from {figure(LEVEL_LUFS)} LUFS"
    if abs(received.error_lu) <= _TOLERANCE_LU:
        return Found("tone's level", True, level)
    remedy = f"a volume on the way is not at 100 %: {_volume_remedy(device)}"
    if received.error_lu > 0.0:
        remedy = f"something else sounds with it: stop all playback and try again; else {remedy}"
    return Found("tone's level", False, f"{level}; {remedy}")


def _volume_remedy(device: DeviceInfo) -> str:
    if device.host_api in PULSE_SERVERS:
        return signal_path.volume_lines(device)
    if sys.platform == "darwin":
        return "see Audio MIDI Setup, both sides of the virtual device"
    return "see the levels of output and input in the sound settings"


def _mend_silence(received: ReceivedTone) -> str:
    if sys.platform == "darwin" and received.is_exact_silence:
        return "let the terminal use the microphone, or choose a pair with --device and --play-to"
    return "is one of them muted? Choose a pair that belongs together with --device and --play-to"


def _signed(value: float) -> str:
    return f"{round(value, 2) + 0.0:+.2f}".replace("-", "−")
