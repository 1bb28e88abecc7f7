"""Levels turned into one another, and as they are shown."""

from __future__ import annotations

import math

from sidecar.model.readings import SILENCE

LOUDNESS_OFFSET_DB = -0.691
"""ITU-R BS.1770-5 Annex 1, equation 2: cancels the K-weighting's gain at 997 Hz."""

NOTHING_DB = -200.0
"""Ours: 24 bits end 144 dB under full scale; what lies this far down is what filters remember, not sound."""


def json_number(value: float) -> float | None:
    """Returns *value* to two decimals; None for silence, since JSON has no infinity."""
    return round(value, 2) if math.isfinite(value) else None


def loudness(mean_square: float) -> float:
    """Linear K-weighted, channel-summed mean square (full scale 1.0) to LUFS; 0 gives ``-inf``.

    Source: ITU-R BS.1770-5 Annex 1, equation 2.
    """
    if mean_square <= 0.0:
        return SILENCE
    return LOUDNESS_OFFSET_DB + 10.0 * math.log10(mean_square)


def mean_square(loudness_lufs: float) -> float:
    """LUFS to a linear mean square (full scale 1.0); ``-inf`` gives 0. Inverse of :func:`loudness`."""
    return float(10.0 ** ((loudness_lufs - LOUDNESS_OFFSET_DB) / 10.0))


def decibel(amplitude: float) -> float:
    """Linear amplitude (full scale 1.0) to dBFS; 0 gives ``-inf``."""
    return 20.0 * math.log10(amplitude) if amplitude > 0.0 else SILENCE


def amplitude(level_db: float) -> float:
    """dBFS to a linear amplitude (full scale 1.0); ``-inf`` gives 0. Inverse of :func:`decibel`."""
    return float(10.0 ** (level_db / 20.0))


def figure(value: float) -> str:
    """LUFS, LU, dB or dBTP to text: one decimal, a printed minus, never a minus zero (Tech 3341 §2.8)."""
    rounded = round(value, 1) + 0.0
    return "−∞" if rounded <= NOTHING_DB else f"{rounded:.1f}".replace("-", "−")


def percent(share: float) -> str:
    """A share, 0 to 1, to text in whole percent."""
    return f"{round(100.0 * share)} %"


def window_figure(value: float, window_s: float, seconds: float) -> str:
    """As :func:`figure`; a dash where a programme of so many seconds is shorter than the window, so that
    there is no such value."""
    return "–" if seconds < window_s else figure(value)


def clock(seconds: float) -> str:
    """Seconds to text in whole ones that have passed: ``m:ss``, or ``h:mm:ss`` from an hour on."""
    minutes, second = divmod(int(max(0.0, seconds)), 60)
    hours, minute = divmod(minutes, 60)
    return f"{hours}:{minute:02d}:{second:02d}" if hours else f"{minute}:{second:02d}"


def h_mm_ss(seconds: float) -> str:
    """Seconds, 0 or more, to text in whole ones that have passed: ``1:02:03``."""
    whole = int(seconds)
    return f"{whole // 3600}:{whole // 60 % 60:02}:{whole % 60:02}"
