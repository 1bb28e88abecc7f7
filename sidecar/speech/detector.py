"""Speech in a mix, 100 ms by 100 ms, on the grid of the meter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sidecar.meter.grid import Grid
from sidecar.meter.intake import AnyFrames, checked_frames, checked_rate
from sidecar.meter.layouts import Layout
from sidecar.speech.decision import Flags, Floats, SpeechDecision
from sidecar.speech.downmix import mono, speech_gains
from sidecar.speech.model import CHUNK, Samples, SpeechModel
from sidecar.speech.resampler import DETECTOR_RATE_HZ, Resampler

BLOCKS_PER_SECOND = 10
BLOCK = DETECTOR_RATE_HZ // BLOCKS_PER_SECOND
"""Samples at the detector's rate in 100 ms."""
_MODEL_LAG = 1
"""Chunks by which the model answers late: on the tuning half its answers fit best so much earlier."""

DETECTING = 1
"""Raised by one with every change after which speech may be found elsewhere: archives then search anew."""


@dataclass(frozen=True, slots=True, eq=False)
class SpeechBlocks:
    """100 ms blocks in order, each array of shape (n,)."""

    speech: NDArray[np.bool_]
    """Which of them have speech."""
    probability: NDArray[np.float64]
    """How probable the model finds it in each, 0 to 1."""


def joined(parts: Sequence[SpeechBlocks]) -> SpeechBlocks:
    """Blocks that follow each other as one. parts: at least one."""
    return SpeechBlocks(
        np.concatenate([part.speech for part in parts]), np.concatenate([part.probability for part in parts])
    )


class SpeechDetector:
    """Finds speech in frames that follow each other.

    Block *k* that comes out is block *k* of a meter that is given the same frames. It comes some 0.2 s
    later: words begin before they can be recognised. At rates without a large divisor in common with 16 kHz
    that may be 1 s.
    """

    def __init__(self, rate_hz: int, layout: Layout, model: SpeechModel) -> None:
        """model: used by this detector alone from now on, until it is finished.

        Raises SignalError for a rate that cannot be measured.
        """
        self._rate_hz = checked_rate(rate_hz)
        self._layout, self._gains = layout, speech_gains(layout)
        self._model = model
        self._begin()

    def push(self, frames: AnyFrames) -> SpeechBlocks:
        """Returns the blocks that are decided after *frames*, shape (n, channels), as the meter takes them.

        Raises SignalError for another shape or type.
        """
        frames, gain = checked_frames(frames, self._layout.channels, f"the layout {self._layout.name}")
        return self.push_mono(mono(frames, self._gains * gain))

    def push_mono(self, samples: Samples) -> SpeechBlocks:
        """As :meth:`push`, of what :func:`mono` makes of frames, shape (n,)."""
        ends, _ = self._grid.advance(len(samples))
        self._full += len(ends)
        self._search(self._resampler.push(samples))
        return self._decided(self._decision.push(self._fresh_probability()))

    def finish(self) -> SpeechBlocks:
        """Returns the blocks that are full and not decided yet. What is pushed next begins a first block."""
        silence = np.zeros(self._resampler.tail, np.float32)
        self._search(
            np.concatenate([self._resampler.push(silence), np.zeros(BLOCK + _MODEL_LAG * CHUNK, np.float32)])
        )
        flags = self._decision.push(self._fresh_probability())
        rest = self._decided(np.concatenate([flags, self._decision.finish()]))
        self._begin()
        return rest

    def _begin(self) -> None:
        self._model.reset()
        self._grid = Grid(self._rate_hz, BLOCKS_PER_SECOND)
        self._resampler = Resampler(self._rate_hz)
        self._decision = SpeechDecision()
        self._samples: Samples = np.empty(0, np.float32)
        self._chunks: Floats = np.empty(0)
        """Probability of the chunks from :attr:`_first_chunk` on."""
        self._first_chunk = 0
        self._blocks = 0
        """Blocks whose probability is known."""
        self._full = 0
        """Blocks of which all frames have come."""
        self._undecided: Floats = np.empty(0)

    def _search(self, samples: Samples) -> None:
        """Asks the model about all chunks that *samples* complete."""
        held = np.concatenate([self._samples, samples])
        whole = len(held) // CHUNK * CHUNK
        found = [self._model.probability(chunk) for chunk in held[:whole].reshape(-1, CHUNK)]
        self._samples = held[whole:]
        self._chunks = np.concatenate([self._chunks, found])

    def _fresh_probability(self) -> Floats:
        """The mean over each further full block of its chunks' probability, each as far as it lies inside."""
        late = _MODEL_LAG * CHUNK
        known = (self._first_chunk + len(self._chunks)) * CHUNK - late
        stop = min(known // BLOCK, self._full)
        if stop <= self._blocks:
            return np.empty(0)
        edges = np.arange(self._blocks, stop + 1) * BLOCK + late - self._first_chunk * CHUNK
        summed = np.concatenate([[0.0], np.cumsum(self._chunks)]) * CHUNK
        fresh = np.diff(np.interp(edges, np.arange(len(summed)) * CHUNK, summed)) / BLOCK
        passed = (stop * BLOCK + late) // CHUNK - self._first_chunk
        self._chunks = self._chunks[passed:]
        self._first_chunk += passed
        self._blocks = stop
        self._undecided = np.concatenate([self._undecided, fresh])
        return np.asarray(fresh)

    def _decided(self, speech: Flags) -> SpeechBlocks:
        decided, self._undecided = self._undecided[: len(speech)], self._undecided[len(speech) :]
        return SpeechBlocks(speech, decided)
