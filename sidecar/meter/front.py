"""The front end: frames in; energies of 10 ms hops and true peaks of 100 ms blocks out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sidecar.meter import kernels
from sidecar.meter.grid import Grid
from sidecar.meter.intake import AnyFrames, checked_frames, checked_rate
from sidecar.meter.interpolation import REACH
from sidecar.meter.layouts import Layout
from sidecar.meter.planes import take_in
from sidecar.meter.weighting import k_weighting
from sidecar.meter.weighting_kernels import SQUARES

HOPS_PER_SECOND = 100
BLOCKS_PER_SECOND = HOPS_PER_SECOND // kernels.HOPS_PER_BLOCK


@dataclass(frozen=True, slots=True, eq=False)
class Hops:
    """What became of some frames."""

    frames: int
    energy: NDArray[np.float64]
    """Shape (hops,): weighted sum of squares of each hop that got full."""
    length: NDArray[np.int64]
    """Shape (hops,): its frames."""
    apart: NDArray[np.float64]
    """Shape (blocks, channels): weighted sum of squares of each channel in each 100 ms block."""
    true_peak: NDArray[np.float32]
    """Shape (blocks, channels): linear, of each 100 ms block that got full."""
    sample_peak: NDArray[np.float32]
    """Shape (channels,): linear, of all frames."""
    bad_samples: int
    planes: NDArray[np.float32]
    """What was measured, bad samples silenced, as :func:`~sidecar.meter.planes.fresh_planes` lays it out;
    valid until the next call of the front end."""

    @property
    def samples(self) -> NDArray[np.float32]:
        """The same without what came before, shape (channels, frames), good for as long."""
        return self.planes[: self.sample_peak.size, REACH:]


def joined(parts: Sequence[Hops]) -> Hops:
    """Hops of frames that follow each other as one, without their samples. parts: at least one."""
    return Hops(
        sum(part.frames for part in parts),
        np.concatenate([part.energy for part in parts]),
        np.concatenate([part.length for part in parts]),
        np.concatenate([part.apart for part in parts]),
        np.concatenate([part.true_peak for part in parts]),
        np.max([part.sample_peak for part in parts], axis=0),
        sum(part.bad_samples for part in parts),
        parts[0].planes[:, :REACH].copy(),
    )


def block_start(rate_hz: int, block: int) -> int:
    """The frame with which a 100 ms block begins, both counted from 0."""
    return Grid(rate_hz, HOPS_PER_SECOND).mark(block * kernels.HOPS_PER_BLOCK)


class Front:
    """K-weighting, hop energies and true peaks of frames in order.

    The statistics over them are :class:`~sidecar.meter.Meter`'s. A front may begin at any block of a
    programme: what filters remember of the time before has died away after
    :data:`~sidecar.meter.kernels.SETTLING_BLOCKS`, so stretches of a file measured apart, each from that much
    earlier, are those of the whole.
    """

    def __init__(self, rate_hz: int, layout: Layout, first_block: int = 0) -> None:
        """first_block: the 100 ms block of the programme at whose start the frames begin.

        Raises SignalError for a rate that cannot be measured.
        """
        self._rate_hz = checked_rate(rate_hz)
        self._layout = layout
        self._gains = np.zeros(layout.channels + layout.channels % 2)
        self._gains[: layout.channels] = layout.weights
        self._scratch = kernels.fresh_scratch()
        self._sections = k_weighting(rate_hz)
        self._grid = Grid(rate_hz, HOPS_PER_SECOND, first_block * kernels.HOPS_PER_BLOCK)
        self._state = kernels.fresh_front(layout.channels)
        self._room = np.empty(0, np.float32)
        self._at_seam = False

    @property
    def hop_frames(self) -> int:
        """Frames of a hop, to the nearest one."""
        return round(self._rate_hz / HOPS_PER_SECOND)

    @property
    def unfinished_energy(self) -> float:
        """Weighted sum of squares of the hop that is not full yet."""
        return float(self._gains @ self._state.memories[:, SQUARES])

    @property
    def unfinished_peak(self) -> NDArray[np.float32]:
        """Shape (channels,): linear true peak of the block that is not full yet."""
        return self._state.block_peak

    def push(self, frames: AnyFrames) -> Hops:
        """Measures *frames*, shape (n, channels): floats with full scale 1.0, or int16 or int32.

        Raises SignalError for another shape or type.
        """
        frames, gain = checked_frames(frames, self._layout.channels, f"the layout {self._layout.name}")
        n, channels = frames.shape
        planes = self._planes_for(n)
        sample_peak = np.zeros(channels, np.float32)
        bad = take_in(frames, gain, planes, sample_peak)
        if self._at_seam and n:
            # A jump from silence would be a peak that the signal does not have.
            planes[:channels, :REACH] = planes[:channels, REACH : REACH + 1]
            self._at_seam = False
        ends, lengths = self._grid.advance(n)
        energies = np.empty(ends.size)
        room = ends.size // kernels.HOPS_PER_BLOCK + 1
        apart, peaks = np.empty((room, channels)), np.empty((room, channels), np.float32)
        out = np.empty((planes.shape[0], ends.size)), energies, apart, peaks
        filled = kernels.run_front(planes, ends, self._sections, self._gains, self._state, self._scratch, out)
        return Hops(n, energies, lengths, apart[:filled], peaks[:filled], sample_peak, bad, planes)

    def _planes_for(self, frames: int) -> NDArray[np.float32]:
        """In the memory of the last planes where they fit: asking the system for new takes a fifth of the
        time."""
        rows, width = self._gains.size, REACH + frames
        if self._room.size < rows * width:
            self._room = np.empty(rows * width, np.float32)
        planes = self._room[: rows * width].reshape(rows, width)
        planes[: self._layout.channels, :REACH] = self._state.history
        planes[self._layout.channels :] = 0.0
        return planes

    def cut(self) -> None:
        """The next frames do not follow the last ones; a block begins with them."""
        self._at_seam = True
        self._grid.restart()
        self._state = kernels.fresh_front(self._layout.channels)

    def ring_out(self) -> NDArray[np.float32]:
        """Shape (channels,): linear true peak of the block that is not full, with all that interpolators
        still hold, as if silence followed."""
        return kernels.ring_out(self._state)
