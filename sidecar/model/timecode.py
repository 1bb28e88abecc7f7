"""Places in a programme as hours, minutes, seconds and frames (SMPTE ST 12-1), and back.

At 29.97 and 59.94 frames a second a count of whole seconds runs 3.6 s an hour behind the clock. Drop-frame
counting leaves out numbers, never frames: the first two (at 59.94 the first four) of each minute but of every
tenth.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from sidecar.errors import SettingsError

_DAY_S = 86_400
_HAIR_FRAMES = 1e-6
"""Seconds are floats: a place at the very beginning of a frame must not fall into the one before."""
_TIMECODE = re.compile(r"(\d{1,2}):(\d{2}):(\d{2})[:;](\d{2})")
_CLOCK = re.compile(r"(?:(?:(\d+):)?(\d{1,2}):)?(\d{1,9}(?:\.\d{1,6})?)")


@dataclass(frozen=True, slots=True)
class FrameRate:
    """One way of counting frames."""

    name: str
    per_second: Fraction
    counted: int
    """Numbers in a second of timecode."""
    dropped: int = 0
    """Numbers that are left out at the beginning of a minute, but of every tenth."""

    def frame_number(self, frame: int) -> str:
        """The timecode of a frame, counted from midnight; days begin anew."""
        label = self._with_dropped(frame % self._frames_a_day())
        seconds, frames = divmod(label, self.counted)
        separator = ";" if self.dropped else ":"
        return f"{seconds // 3600:02}:{seconds // 60 % 60:02}:{seconds % 60:02}{separator}{frames:02}"

    def frame_of(self, hours: int, minutes: int, seconds: int, frames: int) -> int | None:
        """The frame that has this timecode, counted from midnight; None where there is no such number."""
        if hours > 23 or minutes > 59 or seconds > 59 or frames >= self.counted:
            return None
        if self.dropped and minutes % 10 and seconds == 0 and frames < self.dropped:
            return None
        passed = 60 * hours + minutes
        label = (60 * passed + seconds) * self.counted + frames
        return label - self.dropped * (passed - passed // 10)

    def _with_dropped(self, frame: int) -> int:
        """The number of a frame, those that are left out counted in."""
        if not self.dropped:
            return frame
        minute = 60 * self.counted - self.dropped
        tens, rest = divmod(frame, 10 * minute + self.dropped)
        label = frame + 9 * self.dropped * tens
        if rest >= self.dropped:  # the first minute of ten has all its numbers
            label += self.dropped * ((rest - self.dropped) // minute)
        return label

    def _frames_a_day(self) -> int:
        return _DAY_S * self.counted - self.dropped * (24 * 60 - 24 * 6)


_NTSC: Final = Fraction(1000, 1001)
FRAME_RATES = {
    rate.name: rate
    for rate in (
        FrameRate("23.976", 24 * _NTSC, 24),
        FrameRate("24", Fraction(24), 24),
        FrameRate("25", Fraction(25), 25),
        FrameRate("29.97", 30 * _NTSC, 30),
        FrameRate("29.97df", 30 * _NTSC, 30, 2),
        FrameRate("30", Fraction(30), 30),
        FrameRate("47.952", 48 * _NTSC, 48),
        FrameRate("48", Fraction(48), 48),
        FrameRate("50", Fraction(50), 50),
        FrameRate("59.94", 60 * _NTSC, 60),
        FrameRate("59.94df", 60 * _NTSC, 60, 4),
        FrameRate("60", Fraction(60), 60),
    )
}


@dataclass(frozen=True, slots=True)
class Clock:
    """How times in a measurement are written."""

    start_s: float = 0.0
    """Where in the file the measurement begins, seconds from its first frame."""
    reference_s: float = 0.0
    """When its first frame is, seconds from midnight (EBU Tech 3285, time reference); for timecode only."""
    rate: str = ""
    """One of :data:`FRAME_RATES`; empty for hours, minutes, seconds and tenths."""

    def words(self, seconds: float) -> str:
        """Returns a time in words: hours, minutes, seconds and tenths, or a timecode.

        Parameters
        ----------
        seconds
            From the beginning of what was measured.

        Returns
        -------
        str
            h:mm:ss.s from the first frame; with a rate hh:mm:ss:ff from midnight, with ``;`` before the
            frames where numbers are dropped.
        """
        place_s = max(0.0, seconds + self.start_s)
        if not self.rate:
            return time_code(place_s)
        rate = FRAME_RATES[self.rate]
        frames = (place_s + self.reference_s) * float(rate.per_second)
        return rate.frame_number(math.floor(frames + _HAIR_FRAMES))


FROM_FIRST_FRAME = Clock()
"""Hours, minutes, seconds and tenths from a file's first frame."""


def time_code(seconds: float) -> str:
    """Seconds as h:mm:ss.s."""
    tenths = round(max(0.0, seconds) * 10.0)
    return f"{tenths // 36_000}:{tenths // 600 % 60:02}:{tenths // 10 % 60:02}.{tenths % 10}"


def place_from(text: str, rate: str, reference_s: float) -> float:
    """Seconds from a file's first frame, of h:mm:ss.s (m:ss or seconds alone will do), or of a timecode.

    rate: one of :data:`FRAME_RATES`, by which a timecode is read. reference_s: when the first frame is,
    seconds from midnight.
    Raises SettingsError for a text that is neither, and for a timecode without a rate or of a number that
    drop-frame counting leaves out.
    """
    if timecode := _TIMECODE.fullmatch(text):
        if not rate:
            raise SettingsError(f"{text} is a timecode: give its frame rate, such as --fps 25.")
        frame = FRAME_RATES[rate].frame_of(*map(int, timecode.groups()))
        if frame is None:
            raise SettingsError(f"{text} is no timecode at {rate} frames a second.")
        return float(frame / FRAME_RATES[rate].per_second) - reference_s
    clock = _CLOCK.fullmatch(text)
    if clock is None:
        raise SettingsError(f"{text!r} is no time in a file: write h:mm:ss.s, or hh:mm:ss:ff with --fps.")
    hours, minutes, seconds = (float(part or 0) for part in clock.groups())
    return 3600.0 * hours + 60.0 * minutes + seconds
