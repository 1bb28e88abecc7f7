"""A tone of its own in each channel: which arrives where, and at what level.

All tones lie within one octave, so that no harmonic of one is taken for another.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sidecar.doctor.signal_path import Found
from sidecar.model.readings import FloatArray
from sidecar.sources.inputs import DeviceInfo
from sidecar.sources.output_process import channel_map, line_by_hand

LOWEST_HZ = 500.0
"""The lowest tone; the highest is less than an octave above."""
_STRETCH_S = 3.0
_WINDOW_S = 0.25
"""Each is fitted alone and the median counts, so that some dropped samples spoil no level."""
_HEARD_DB = -40.0
"""Ours: what arrives further below the tone that was sent is crosstalk, not a route."""
_TOLERANCE_DB = 0.1
_STRANGE_DB = -20.0
"""Ours: how far all else must lie below the tones, for the levels to be theirs."""


def frequencies_hz(channels: int) -> NDArray[np.float64]:
    """One frequency for each channel, evenly spaced."""
    return LOWEST_HZ * (1.0 + np.arange(channels) / channels)


def level_dbfs(channels: int) -> float:
    """Peak of each tone: together they have the energy of the line-up tone in two channels at −23 dBFS."""
    return -23.0 - 10.0 * math.log10(channels / 2)


def tones(rate_hz: int, channels: int, seconds: float) -> NDArray[np.float64]:
    """The tones without ramps, shape (n, channels), full scale 1.0."""
    times_s = np.arange(round(seconds * rate_hz))[:, None] / rate_hz
    sines = np.sin(2.0 * np.pi * frequencies_hz(channels) * times_s)
    return np.asarray(10.0 ** (level_dbfs(channels) / 20.0) * sines)


@dataclass(frozen=True, slots=True)
class Routes:
    """What arrived of each tone."""

    gains_db: NDArray[np.float64]
    """Shape (tones sent, channels that arrived); −inf where nothing of the tone arrived."""
    strange_db: float
    """All else that arrived, against the tones; −inf for nothing."""

    def arrivals(self, tone: int) -> list[int]:
        """The channels in which it arrived, from 0."""
        return [int(channel) for channel in np.flatnonzero(self.gains_db[tone] > _HEARD_DB)]


def measure(frames: FloatArray, rate_hz: int, sent: int) -> Routes:
    """Fits the tones that were sent to each channel by least squares, in windows of 3 s in their midst.

    frames: shape (n, channels), full scale 1.0.
    """
    loudest = np.abs(frames).max(axis=1, initial=0.0)
    loud = np.flatnonzero(loudest > 0.5 * loudest.max(initial=0.0))
    onset = int(loud[0]) + rate_hz // 2 if loud.size else 0
    length = round(_WINDOW_S * rate_hz)
    stretch = np.asarray(frames[onset : onset + round(_STRETCH_S * rate_hz)], np.float64)
    count = len(stretch) // length
    if not count or not stretch.any():
        return Routes(np.full((sent, frames.shape[1]), -np.inf), -np.inf)
    phases = 2.0 * np.pi * np.arange(length)[:, None] / rate_hz * frequencies_hz(sent)
    waves = np.concatenate([np.cos(phases), np.sin(phases)], axis=1)
    windows = stretch[: count * length].reshape(count, length, -1)
    fitted = np.linalg.pinv(waves) @ windows
    powers = np.square(fitted[:, :sent]) + np.square(fitted[:, sent:])
    strange = np.median(np.square(windows - waves @ fitted).mean(axis=1).sum(axis=1))
    own = np.median(powers.sum(axis=(1, 2))) / 2.0
    with np.errstate(divide="ignore"):
        gains_db = 10.0 * np.log10(np.median(powers, axis=0)) - level_dbfs(sent)
        strange_db = 10.0 * np.log10(strange / own) if own else np.inf
    return Routes(gains_db, float(strange_db))


def judge(routes: Routes, device: DeviceInfo, output: str) -> Iterator[Found]:
    """Yields where each tone arrived and at what level, then which side mixed or reordered them.

    output: its name for messages.
    """
    sent = len(routes.gains_db)
    if not np.isfinite(routes.gains_db).any() or routes.gains_db.max() < _HEARD_DB:
        yield Found(
            "tones", False, f"nothing of them came from {output} to {device.name}; is one of them muted?"
        )
        return
    if routes.strange_db > _STRANGE_DB:
        yield Found(
            "tones",
            False,
            f"{device.name} receives something else, or the tones at another rate: stop all playback, open "
            "all of the chain at one rate, and try again",
        )
        return
    found = [_route(routes, tone) for tone in range(sent)]
    yield from found
    if not all(one.is_well for one in found):
        yield _cause(routes, device)


def _route(routes: Routes, tone: int) -> Found:
    what = f"tone of channel {tone + 1}"
    arrived = routes.arrivals(tone)
    if not arrived:
        return Found(what, False, "arrives nowhere")
    places = " and ".join(f"channel {one + 1} ({_signed(routes.gains_db[tone, one])} dB)" for one in arrived)
    beside = [
        other + 1
        for other in range(len(routes.gains_db))
        if other != tone and set(routes.arrivals(other)) & set(arrived)
    ]
    mixed = f", mixed with channel {' and '.join(map(str, beside))}" if beside else ""
    gain_db = float(routes.gains_db[tone, arrived[0]])
    is_well = arrived == [tone] and not beside and abs(gain_db) <= _TOLERANCE_DB
    return Found(what, is_well, f"arrives in {places}{mixed}")


def _cause(routes: Routes, device: DeviceInfo) -> Found:
    sent = len(routes.gains_db)
    expected = channel_map(sent)
    remedy = f"make the output with sidecar live --make-output, or by hand: {_line(device, sent)}"
    if len(device.positions) != sent:
        wide = len(device.positions) or routes.gains_db.shape[1]
        return Found(
            "channel map", False, f"the output has {wide} channels and {sent} tones were played; {remedy}"
        )
    if device.output_positions and device.output_positions != expected:
        return Found(
            "channel map",
            False,
            f"mixed or reordered between the player and the output, whose channel map is "
            f"{','.join(device.output_positions)}; {remedy}",
        )
    if device.output_positions != device.positions:
        return Found(
            "channel map",
            False,
            f"mixed or reordered between the output and its monitor, whose channel map is "
            f"{','.join(device.positions)}; {remedy}",
        )
    return Found(
        "channel map", True, "the maps of player, output and monitor agree; look for a volume or a balance"
    )


def _line(device: DeviceInfo, channels: int) -> str:
    return line_by_hand(device.monitored or "mix", channels, device.default_rate_hz)


def _signed(value: float) -> str:
    return f"{round(value, 2) + 0.0:+.2f}".replace("-", "−")
