"""The meter of several stems: frames in, what their mix would be under any fader set out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sidecar.errors import SignalError
from sidecar.meter import stem_kernels
from sidecar.meter.grid import Grid
from sidecar.meter.intake import AnyFrames, checked_frames, checked_rate, level_dbtp
from sidecar.meter.interpolation import REACH
from sidecar.meter.planes import fresh_planes, take_in
from sidecar.meter.weighting import k_weighting
from sidecar.model.readings import BLOCK_S

_BLOCKS_PER_SECOND = round(1.0 / BLOCK_S)


@dataclass(frozen=True, slots=True)
class StemBlocks:
    """N stems in 100 ms blocks, on the grid of :class:`~sidecar.meter.meter.Blocks` of their mix."""

    covariance: NDArray[np.float64]
    """Shape (n, N, N): mean products of the K-weighted stems, summed over left and right, linear. With
    amplitudes a, the mix has the mean square aᵀ C a: K-weighting is linear (BS.1770-5 Annex 1)."""
    true_peak: NDArray[np.float64]
    """Shape (n, N): highest true peak of each stem's channels, dBTP; ``-inf`` in silence."""


class StemMeter:
    """K-weighted products and true peaks of several stems, streamed (ITU-R BS.1770-5 Annexes 1 and 2).

    Frames pushed in pieces of any size give the same result as the whole programme at once. It belongs to
    one thread at a time, as :class:`Meter`.
    """

    def __init__(self, sample_rate: int, stems: int, channels_per_stem: int = 2) -> None:
        """A meter for so many stems, side by side: stem k has the channels 2k (left) and 2k + 1 (right).

        Parameters
        ----------
        sample_rate
            Hz, 8,000 to 384,000: that of the frames. A wrong one is not noticed and gives wrong figures.
        stems
            How many there are, 1 or more.
        channels_per_stem
            1 or 2, the same for all; more would need weights.

        Raises
        ------
        SignalError
            The rate is out of range, or so many stems or channels cannot be measured.
        """
        if stems < 1 or channels_per_stem not in (1, 2):
            raise SignalError(
                f"{stems} stems of {channels_per_stem} channels cannot be measured: "
                "give one stem or more, all stereo or all mono."
            )
        self.sample_rate = checked_rate(sample_rate)
        self.stems = stems
        self.channels = stems * channels_per_stem
        self._sections = k_weighting(sample_rate)
        self._grid = Grid(sample_rate, _BLOCKS_PER_SECOND)
        self.reset()

    @property
    def bad_samples(self) -> int:
        """NaN, infinite or absurd samples since the last reset, measured as silence."""
        return self._bad_samples

    def reset(self) -> None:
        """Begins a new programme."""
        self._state = stem_kernels.fresh_stems(self.stems, self.channels)
        self._grid.restart()
        self._bad_samples = 0
        self._at_seam = False
        self._finished: list[tuple[NDArray[np.float64], NDArray[np.float32]]] = []

    def splice(self) -> None:
        """The next frames do not follow the last ones: some were lost, or measuring was paused. No block
        reaches across."""
        self._state = stem_kernels.fresh_stems(self.stems, self.channels)
        self._grid.restart()
        self._at_seam = True

    def push(self, frames: AnyFrames) -> None:
        """Measures the next frames of all stems.

        Parameters
        ----------
        frames
            Shape (n, channels of all stems), any n: float32 or float64 with full scale 1.0, or int16 or int32
            with the full scale of their type. NaN, infinite and absurd samples are counted in
            :attr:`bad_samples` and measured as silence.

        Raises
        ------
        SignalError
            Another shape or type; nothing was measured.
        """
        frames, gain = checked_frames(frames, self.channels, f"{self.stems} stems")
        n = frames.shape[0]
        if n == 0:
            return
        planes = fresh_planes(self.channels, n)
        planes[: self.channels, :REACH] = self._state.history
        self._bad_samples += take_in(frames, gain, planes, np.empty(self.channels, np.float32))
        if self._at_seam:
            # A jump from silence would be a peak that the signal does not have.
            planes[: self.channels, :REACH] = planes[: self.channels, REACH : REACH + 1]
            self._at_seam = False
        grid = self._grid.advance(n)
        blocks = grid[0].size
        covariance = np.empty((blocks, self.stems, self.stems))
        peaks = np.empty((blocks, self.stems), np.float32)
        stem_kernels.run_stems(planes, grid, self._sections, self._state, covariance, peaks)
        if blocks:
            self._finished.append((covariance, peaks))

    def take_blocks(self) -> StemBlocks:
        """The 100 ms blocks that got full since the last call (or the last reset).

        Returns
        -------
        StemBlocks
            n of them, 0 too, each given once: who does not take them lets them pile up.
        """
        if not self._finished:
            return StemBlocks(np.empty((0, self.stems, self.stems)), np.empty((0, self.stems)))
        covariances, peaks = zip(*self._finished, strict=True)
        self._finished.clear()
        return StemBlocks(np.concatenate(covariances), level_dbtp(np.concatenate(peaks)))


def summed(frames: AnyFrames, stems: int) -> NDArray[np.float64]:
    """The mix of *stems* side by side in *frames*, shape (n, stems · channels): shape (n, channels).

    A sample that :class:`StemMeter` measures as silence is silence here too.
    Raises SignalError for channels that cannot be shared out among the stems.
    """
    channels = frames.shape[-1] // stems
    frames, gain = checked_frames(frames, stems * channels, f"{stems} stems")
    mix = np.empty((frames.shape[0], channels))
    stem_kernels.run_sum(frames, gain, mix)
    return mix
