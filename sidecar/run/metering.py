"""What a run measures with: a meter for the mix and, where stems arrive apart, one for them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from sidecar.loudness.series import Floats
from sidecar.meter import Blocks, Meter, StemBlocks, StemMeter, summed
from sidecar.meter.layouts import Layout
from sidecar.model.readings import FloatArray, Reading
from sidecar.run.stem_faders import check_stem_channels


@dataclass(frozen=True, slots=True)
class Taken:
    """The 100 ms blocks that got full; those of the stems are the same stretches as those of the mix."""

    mix: Blocks
    stems: StemBlocks | None = None


class Metering:
    """Both meters as one: whatever is done to the one is done to the other."""

    def __init__(self, rate_hz: int, channels: int, layout: str | None, stems: Sequence[str] = ()) -> None:
        """layout: as the meter takes it; None is the usual one for the channels.
        stems: their names, where the channels are stems side by side, two channels each.

        The kernels are compiled when this returns. Raises SignalError for what cannot be measured,
        SettingsError where channels and stems do not agree.
        """
        self._bad_before = 0
        """Broken samples of the resumed run, which the stems' own meter has not counted."""
        self._stems = StemMeter(rate_hz, len(stems)) if stems else None
        if stems:
            check_stem_channels(len(stems), channels)
        self._mix = Meter(rate_hz, layout, channels=2 if stems else channels)
        self.reading()  # compiles; a second process may begin with the rest, the longest kernel first
        self.push(np.zeros((1, channels), np.float32))
        self.finish()
        self._begin()

    @property
    def layout(self) -> str:
        return self._mix.layout.name

    @property
    def loudspeakers(self) -> Layout:
        """Those of the mix."""
        return self._mix.layout

    @property
    def rate_hz(self) -> int:
        return self._mix.sample_rate

    @property
    def is_paused(self) -> bool:
        return self._mix.is_paused

    def push(self, frames: FloatArray) -> FloatArray:
        """Measures *frames*, shape (n, channels); returns the mix, shape (n, channels of the mix)."""
        if self._stems is None:
            self._mix.push(frames)
            return frames
        mix = summed(frames, self._stems.stems)
        self._mix.push(mix)
        if not self.is_paused:
            self._stems.push(frames)
        return mix

    def take_blocks(self) -> Taken:
        """The blocks that got full since the last call."""
        return Taken(self._mix.take_blocks(), self._stems.take_blocks() if self._stems else None)

    def reading(self) -> Reading:
        """What the mix reads now."""
        reading = self._mix.reading()
        # The sum takes a broken sample for silence, so only the stems' own meter has seen it.
        if self._stems is None:
            return reading
        return replace(reading, bad_samples=self._bad_before + self._stems.bad_samples)

    def reset(self) -> None:
        """Begins a new programme in the midst of what plays: it does not follow on silence."""
        self._begin()
        self.splice()

    def reset_peaks(self) -> None:
        """Begins the held peaks anew, and nothing else."""
        self._mix.reset_peaks()

    def _begin(self) -> None:
        self._bad_before = 0
        self._mix.reset()
        if self._stems:
            self._stems.reset()

    def pause(self) -> None:
        """Holds integrated, range, maxima and peaks."""
        self._mix.pause()

    def resume(self) -> None:
        """Measures on after :meth:`pause`."""
        self._mix.resume()
        if self._stems:
            self._stems.splice()

    def splice(self) -> None:
        """The next frames do not follow the last ones."""
        self._mix.splice()
        if self._stems and not self.is_paused:
            self._stems.splice()

    def restore(self, energies: Floats, reading: Reading, cuts: Sequence[int]) -> None:
        """Begins where a programme broke off; see :meth:`sidecar.meter.Meter.restore`."""
        self._begin()
        self._mix.restore(energies, reading, cuts)
        self._bad_before = reading.bad_samples
        if self._stems:
            self._stems.splice()

    def change_rate(self, rate_hz: int, energies: Floats, cuts: Sequence[int]) -> None:
        """Continues at another rate after a cut; integrated, range, maxima and peaks stay what they are.

        energies, cuts: all blocks since the reset, as :meth:`restore` takes them.
        Raises SignalError for a rate that cannot be measured.
        """
        before, was_paused = self.reading(), self.is_paused
        self._mix = Meter(rate_hz, self.layout)
        if self._stems:
            self._stems = StemMeter(rate_hz, self._stems.stems)
        self.restore(energies, before, cuts)
        if was_paused:
            self.pause()

    def finish(self) -> None:
        """The programme is over: what the filters still hold is measured."""
        self._mix.finish()
