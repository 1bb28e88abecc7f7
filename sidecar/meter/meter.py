"""The meter: frames in, :class:`~sidecar.model.readings.Reading` out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sidecar.meter import kernels, windows
from sidecar.meter.front import HOPS_PER_SECOND, Front, Hops
from sidecar.meter.grid import Grid
from sidecar.meter.intake import AnyFrames, level_dbtp, level_lufs
from sidecar.meter.layouts import Layout, layout_for, layout_from, layout_of_weights
from sidecar.meter.live import LiveChannels
from sidecar.model.readings import Reading
from sidecar.model.units import amplitude, decibel, loudness, mean_square

_LONGEST_PUSH = 65_536
"""Frames that are taken in at once: more would only cost memory."""
_LONGEST_REPLAY = 36_000
"""Blocks, an hour of them, for the same reason."""
_RANGE_SETTLES_S = 60.0
"""Tech 3341 §2.4: the loudness range of the first minute is to be flagged."""
_TAIL_HOPS = 150
"""Tech 3342 §5: 1.5 s of silence behind a file."""


_Finished = tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float32]]
"""Of blocks that got full: mean squares as :func:`windows.run_windows` gives them, and of each channel the
weighted sum of squares and the linear true peak."""


@dataclass(frozen=True, slots=True)
class Blocks:
    """Programme in 100 ms blocks."""

    energy: NDArray[np.float64]
    """Shape (n,): K-weighted, channel-summed mean square, linear."""
    channel_energy: NDArray[np.float64]
    """Shape (n, channels): the share of each channel in it."""
    true_peak: NDArray[np.float64]
    """Shape (n,): highest true peak of all channels, dBTP."""
    true_peaks: NDArray[np.float64]
    """Shape (n, channels): true peak of each channel, dBTP."""
    momentary: NDArray[np.float64]
    """Shape (n,): LUFS at the end of each block."""
    short_term: NDArray[np.float64]
    """Shape (n,): LUFS at the end of each block."""


class Meter:
    """Loudness and true peak of one programme, streamed (ITU-R BS.1770-5, EBU Tech 3341 and 3342).

    Frames pushed in pieces of any size give the same result as the whole programme at once. Nothing is
    resampled and nothing is remixed. A meter belongs to one thread at a time: two that push at once spoil
    the measurement without an error.
    """

    def __init__(
        self,
        sample_rate: int = 48_000,
        layout: str | None = None,
        *,
        channels: int | None = None,
        weights: Sequence[float] | None = None,
    ) -> None:
        """A meter for one sample rate and one channel layout.

        Without *layout*, *channels* and *weights* it is stereo; *weights* go before *layout*, and that before
        *channels*.

        Parameters
        ----------
        sample_rate
            Hz, 8,000 to 384,000: that of the frames. A wrong one is not noticed and gives wrong figures.
        layout
            ``mono``, ``stereo``, ``5.0``, ``5.1``, ``7.1``, ``7.1.4``, or a comma list of positions in the
            order of the channels, such as ``"L,R,C,LFE,Ls,Rs"`` (ITU-R BS.2051).
        channels
            The usual layout of so many channels.
        weights
            One factor a channel on its power, 0 or more; 0 leaves the channel out of the loudness, not out
            of the peaks (BS.1770-5 Annex 1, Table 3, and Annex 3).

        Raises
        ------
        SignalError
            The rate is out of range, or the layout, or a position in it, is not known.
        """
        self.sample_rate = sample_rate
        self.layout = _layout(layout, channels, weights)
        self._paused = False
        self.reset()

    @property
    def is_paused(self) -> bool:
        """True between :meth:`pause` and :meth:`resume`."""
        return self._paused

    @property
    def max_momentary_at_s(self) -> float | None:
        """Seconds measured when the window of the maximum momentary loudness ended; None in silence, or
        where the maximum is restored."""
        return self._windows.frames[1] / self.sample_rate or None

    @property
    def max_short_term_at_s(self) -> float | None:
        """Seconds measured when the window of the maximum short-term loudness ended; None in silence, or
        where the maximum is restored."""
        return self._windows.frames[2] / self.sample_rate or None

    def reset(self) -> None:
        """Begins a new programme; a paused meter stays paused (Tech 3341 §2.2)."""
        self._front = Front(self.sample_rate, self.layout)
        self._windows = windows.fresh_windows(self._front.hop_frames)
        self._gate = windows.fresh_gate()
        self._range = windows.fresh_range()
        self._pages = windows.fresh_pages()
        self._live = LiveChannels(self.sample_rate, self.layout.channels)
        self._true_peak = np.zeros(self.layout.channels, np.float32)
        self._held_peak = self._true_peak
        self._sample_peak = np.float32(0.0)
        self._frames = 0
        self._bad_samples = 0
        self._finished: list[_Finished] = []

    def reset_peaks(self) -> None:
        """Begins :attr:`Reading.held_peak` anew; the peaks of the programme and all else stay."""
        self._held_peak = np.zeros(self.layout.channels, np.float32)

    def pause(self) -> None:
        """Holds integrated, range, maxima and peaks; momentary and short-term go on."""
        if self._paused:
            return
        self._bank_peaks()
        self._paused = True

    def resume(self) -> None:
        """Measures on after :meth:`pause`; no gating block reaches across the pause."""
        if not self._paused:
            return
        self._paused = False
        self._cut()

    def splice(self) -> None:
        """The next frames do not follow the last ones: some were lost. No block reaches across."""
        if not self._paused:
            self._bank_peaks()
            self._cut()

    def push(self, frames: AnyFrames) -> None:
        """Measures the next frames of the programme.

        Parameters
        ----------
        frames
            Shape (n, channels), any n, 0 too: float32 or float64 with full scale 1.0, or int16 or int32 with
            the full scale of their type. They must follow the last ones: call :meth:`splice` where some are
            missing. The array is read before this returns, and not kept. NaN, infinite and absurd samples
            are counted in :attr:`Reading.bad_samples` and measured as silence. Numbers in the range of
            integers but of a floating type are not noticed: they read some 90 dB too loud.

        Raises
        ------
        SignalError
            Another shape or type; nothing was measured.
        """
        frames = np.atleast_1d(frames)
        for start in range(0, max(1, frames.shape[0]), _LONGEST_PUSH):
            hops = self._front.push(frames[start : start + _LONGEST_PUSH])
            self._live.push(hops.samples, hops.true_peak)
            self.take_in(self._front, hops)

    def take_in(self, front: Front, hops: Hops) -> None:
        """Adds the next frames as measured by *front*, with which the meter continues from here.

        For frames that another thread has measured; all else calls :meth:`push`.

        Parameters
        ----------
        front
            Of this meter's own rate and layout, and at the place in the programme where this meter is:
            neither is checked.
        hops
            What *front* made of the frames.
        """
        self._front = front
        blocks = self._run_windows(
            hops.energy, hops.length, windows.HELD if self._paused else windows.MEASURING
        )
        if self._paused:
            return
        self._frames += hops.frames
        self._bad_samples += hops.bad_samples
        self._sample_peak = max(self._sample_peak, hops.sample_peak.max())
        if len(blocks):
            self._raise_peaks(hops.true_peak.max(axis=0))
            self._finished.append((blocks, hops.apart, hops.true_peak))

    def restore(self, energies: NDArray[np.float64], reading: Reading, cuts: Sequence[int] = ()) -> None:
        """Begins where a programme broke off; what follows is cut from it, as by :meth:`splice`.

        Integrated loudness and range go on from the blocks, maxima and peaks from what was last read. What
        was measured before is dropped.

        Parameters
        ----------
        energies
            Shape (n,), linear: all that :attr:`Blocks.energy` gave since the reset.
        reading
            The last one, of a meter with this layout and rate.
        cuts
            Ascending places in *energies* before which the programme had been cut before.
        """
        self.reset()
        for piece in np.split(energies, list(cuts)):
            self._replay(piece)
            self._cut()
        self._frames = round(reading.seconds * self.sample_rate)
        self._bad_samples = reading.bad_samples
        self._true_peak = np.array([amplitude(peak) for peak in reading.true_peak], np.float32)
        held = reading.held_peak or reading.true_peak
        self._held_peak = np.array([amplitude(peak) for peak in held], np.float32)
        self._sample_peak = np.float32(amplitude(reading.sample_peak))
        self._windows = windows.fresh_windows(self._front.hop_frames)
        self._windows.levels[2:] = mean_square(reading.max_momentary), mean_square(reading.max_short_term)
        self._windows.frames[0] = self._frames

    def finish(self) -> None:
        """The programme is over, as at the end of a file: what the filters still hold is measured,
        and the range is taken as if 1.5 s of silence followed (Tech 3342 §5).

        Call it once, and :meth:`reset` before the next programme: what is pushed behind it, or a second call,
        counts that silence in. Without it a peak in the last samples may be missed.
        """
        if self._paused:
            return
        self._raise_peaks(self._front.ring_out())
        energies = np.zeros(_TAIL_HOPS)
        energies[0] = self._front.unfinished_energy
        self._run_windows(energies, np.full(_TAIL_HOPS, self._front.hop_frames), windows.TAIL)

    def reading(self) -> Reading:
        """What the meter reads now.

        Returns
        -------
        Reading
            Levels since the last reset. To take one changes nothing, and costs the same however long the
            programme is.
        """
        momentary, short_term, max_momentary, max_short_term = self._windows.levels
        unfinished = self._front.unfinished_peak
        true_peak, held_peak = self._true_peak, self._held_peak
        if not self._paused:
            true_peak, held_peak = np.maximum(true_peak, unfinished), np.maximum(held_peak, unfinished)
        peaks = tuple(decibel(float(p)) for p in true_peak)
        gated, range_lu = windows.statistics(self._gate, self._pages, self._range)
        return Reading(
            momentary=loudness(momentary),
            short_term=loudness(short_term),
            integrated=loudness(gated),
            loudness_range=range_lu,
            max_momentary=loudness(max_momentary),
            max_short_term=loudness(max_short_term),
            true_peak=peaks,
            max_true_peak=max(peaks),
            sample_peak=decibel(float(self._sample_peak)),
            seconds=self._frames / self.sample_rate,
            range_is_stable=self._frames >= _RANGE_SETTLES_S * self.sample_rate,
            bad_samples=self._bad_samples,
            held_peak=tuple(decibel(float(p)) for p in held_peak),
            channel_peak=self._live.channel_peaks(unfinished),
            short_term_peak=self._live.short_term_peak(unfinished),
            correlation=self._live.correlation(),
            mono_loss_db=self._live.mono_loss_db(),
        )

    def take_blocks(self) -> Blocks:
        """The 100 ms blocks that got full since the last call (or the last reset).

        Returns
        -------
        Blocks
            n of them, 0 too, each given once: who does not take them lets them pile up. None are made while
            the meter is paused, and none of what does not fill 100 ms at the end.
        """
        finished, self._finished = self._finished, []
        levels, sums, peaks = finished[0] if len(finished) == 1 else self._joined(finished)
        energy, momentary, short_term = levels.T
        total = sums.sum(axis=1, keepdims=True)
        shares = np.divide(sums, total, out=np.zeros_like(sums), where=total > 0.0)
        return Blocks(
            energy,
            shares * energy[:, None],
            level_dbtp(peaks.max(axis=1)),
            level_dbtp(peaks),
            level_lufs(momentary),
            level_lufs(short_term),
        )

    def _joined(self, finished: Sequence[_Finished]) -> _Finished:
        channels = self.layout.channels
        levels = np.concatenate([np.empty((0, 3)), *(levels for levels, _, _ in finished)])
        sums = np.concatenate([np.empty((0, channels)), *(sums for _, sums, _ in finished)])
        peaks = np.concatenate([np.empty((0, channels), np.float32), *(peaks for _, _, peaks in finished)])
        return levels, sums, peaks

    def _run_windows(
        self, energies: NDArray[np.float64], lengths: NDArray[np.int64], mode: int
    ) -> NDArray[np.float64]:
        room = energies.size // kernels.HOPS_PER_BLOCK + 1
        self._pages = windows.pages_with_room(self._pages, self._gate, room)
        blocks = np.empty((room, 3))
        made = windows.run_windows(
            (energies, lengths), mode, self._windows, self._gate, self._pages, self._range, blocks
        )
        return blocks[:made]

    def _replay(self, energies: NDArray[np.float64]) -> None:
        """Adds blocks as hops of the same energy: no statistics but the maxima look at single hops."""
        grid = Grid(self.sample_rate, HOPS_PER_SECOND)
        for start in range(0, energies.size, _LONGEST_REPLAY):
            hops = np.repeat(energies[start : start + _LONGEST_REPLAY], kernels.HOPS_PER_BLOCK)
            first = start * kernels.HOPS_PER_BLOCK
            _, lengths = grid.advance(grid.mark(first + hops.size) - grid.mark(first))
            self._run_windows(hops * lengths, lengths, windows.MEASURING)

    def _bank_peaks(self) -> None:
        """Keeps the peaks of the block that a pause or a loss leaves unfinished."""
        self._raise_peaks(self._front.unfinished_peak)

    def _raise_peaks(self, peaks: NDArray[np.float32]) -> None:
        self._true_peak = np.maximum(self._true_peak, peaks)
        self._held_peak = np.maximum(self._held_peak, peaks)

    def _cut(self) -> None:
        self._front.cut()
        self._windows.hops[:] = 0


def _layout(name: str | None, channels: int | None, weights: Sequence[float] | None) -> Layout:
    if weights is not None:
        return layout_of_weights(weights)
    if name is not None:
        return layout_from(name)
    return layout_for(2 if channels is None else channels)
