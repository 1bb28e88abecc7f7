"""The dialogue of a finished file: where there is speech, and how loud it is there."""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from queue import Empty, SimpleQueue
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from sidecar.delivery.measure.part import Part
from sidecar.delivery.measure.stretches import file_frames
from sidecar.delivery.measure.whole_file import Measured
from sidecar.loudness.dialogue import dialogue_loudness
from sidecar.loudness.statistics import runs
from sidecar.meter.intake import checked_frames
from sidecar.meter.layouts import Layout, layout_from
from sidecar.model.dialogue import DialogueLoudness, DialogueOrigin
from sidecar.model.readings import BLOCK_S
from sidecar.sources.sound_file import SoundFile
from sidecar.speech.detector import BLOCK, DETECTING, SpeechDetector, joined
from sidecar.speech.downmix import mono, speech_gains
from sidecar.speech.model import PackagedModel, SpeechModel, model_version
from sidecar.speech.resampler import DETECTOR_RATE_HZ, Resampler

_STRETCH_BLOCKS = 1200
"""Two minutes, searched by one thread. Always so many: what is found does not depend on the threads."""
_LEAD_BLOCKS, _TAIL_BLOCKS = 30, 10
"""Searched besides before and after each stretch: the model remembers what came before."""

_LABEL = "dialogue"
"""How the name of a cue marker begins whose part is dialogue."""

Samples = NDArray[np.float32]
Flags = NDArray[np.bool_]
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class FileDialogue:
    """The dialogue of a file."""

    loudness: DialogueLoudness
    """How loud it is, and how much of it there is."""
    spans: tuple[tuple[int, int], ...]
    """Where it is: the first 100 ms block of each stretch, and the one behind its last."""

    @property
    def spans_s(self) -> tuple[tuple[float, float], ...]:
        """The same in seconds from the beginning of what was measured."""
        return tuple((first * BLOCK_S, stop * BLOCK_S) for first, stop in self.spans)


class IdleModels:
    """Models kept to be used again: loading one takes as long as searching half a minute."""

    def __init__(self, load: Callable[[], SpeechModel] = PackagedModel) -> None:
        self._load = load
        self._idle = SimpleQueue[SpeechModel]()

    @contextmanager
    def borrowed(self) -> Iterator[SpeechModel]:
        """Gives a model for one thread alone, fresh or idle. Raises MissingPackage where there is none."""
        try:
            model = self._idle.get_nowait()
        except Empty:
            model = self._load()
        try:
            yield model
        finally:
            self._idle.put(model)


_IDLE = IdleModels()


def detector_version() -> str:
    """By what speech is known to be found by the same means: our own version of it, and the model's.

    Raises MissingPackage where the model is not installed.
    """
    return f"dialogue {DETECTING} {model_version()}"


def detected_dialogue(
    measured: Measured,
    part: Part | None = None,
    progress: Callable[[float], None] = lambda _share: None,
    *,
    workers: int | None = None,
    models: IdleModels = _IDLE,
) -> FileDialogue:
    """Searches a file that was measured for speech, and says how loud it is there.

    Parameters
    ----------
    measured
        What it measures. The file is read once more.
    part
        The frames that were measured; None for all.
    progress
        Called with the share done in the thread of the caller. What it raises ends the search.
    workers
        Threads that share the work; None is one for each processor. The result does not depend on it.
    models
        Where models come from.

    Raises
    ------
    SourceError
        The file cannot be read any more.
    MissingPackage
        There is no model.
    """
    blocks = len(measured.history.energy)
    speech, probability = np.zeros(blocks, np.bool_), np.zeros(blocks)
    with SoundFile(measured.file) as file:
        layout = layout_from(measured.layout)
        stretches = _stretches(_resampled(file, layout, part), blocks)
        threads = workers or os.cpu_count() or 1
        for stretch, (flags, probable) in _searched(stretches, threads, models):
            first, stop = stretch.first, stretch.first + stretch.blocks
            speech[first:stop], probability[first:stop] = flags, probable
            progress(stop / blocks)
    return _dialogue(measured, speech, probability, "detector")


def marked_dialogue(measured: Measured, parts: Sequence[Part]) -> FileDialogue | None:
    """How loud a whole file is in those of its parts whose names begin with "dialogue"; None without any."""
    named = [part for part in parts if part.name.casefold().startswith(_LABEL)]
    if not named:
        return None
    speech = np.zeros(len(measured.history.energy), np.bool_)
    for part in named:
        first, stop = (round(frame / measured.sample_rate / BLOCK_S) for frame in (part.first, part.stop))
        speech[first:stop] = True
    return _dialogue(measured, speech, None, "markers")


def _dialogue(
    measured: Measured, speech: Flags, probability: Floats | None, found_by: DialogueOrigin
) -> FileDialogue:
    loudness = dialogue_loudness(measured.history.energy, speech, probability, found_by=found_by)
    return FileDialogue(loudness, tuple(runs(speech, 0)))


class _Stretch(NamedTuple):
    """Blocks to search, with the sound of them and around them."""

    first: int
    blocks: int
    lead: int
    """Blocks before the first."""
    samples: Samples
    """At the detector's rate."""


def _resampled(file: SoundFile, layout: Layout, part: Part | None) -> Iterator[Samples]:
    """What was measured as the detector needs it, in pieces: a small part of what it takes in memory."""
    gains = speech_gains(layout)
    resampler = Resampler(file.rate_hz)
    first, stop = (part.first, part.stop) if part else (0, file.frames)
    for frames in file_frames(file, first, stop):
        samples, gain = checked_frames(frames, layout.channels, f"the layout {layout.name}")
        yield resampler.push(mono(samples, gains * gain))
    yield resampler.push(np.zeros(resampler.tail, np.float32))


def _stretches(pieces: Iterator[Samples], blocks: int) -> Iterator[_Stretch]:
    """The blocks in order, some hundred at a time, each with sound around it; silence is behind the end."""
    held, begin = np.empty(0, np.float32), 0
    for first in range(0, blocks, _STRETCH_BLOCKS):
        count, lead = min(_STRETCH_BLOCKS, blocks - first), min(_LEAD_BLOCKS, first)
        start, stop = (first - lead) * BLOCK, (first + count + _TAIL_BLOCKS) * BLOCK
        gathered, end = [held], begin + len(held)
        while end < stop and (piece := next(pieces, None)) is not None:
            gathered.append(piece)
            end += len(piece)
        held, begin = np.concatenate(gathered)[start - begin :], start
        yield _Stretch(first, count, lead, np.pad(held[: stop - start], (0, max(0, stop - end))))


def _searched(
    stretches: Iterator[_Stretch], workers: int, models: IdleModels
) -> Iterator[tuple[_Stretch, tuple[Flags, Floats]]]:
    """Each stretch, with which of its blocks have speech and how probable it is."""
    if workers <= 1:
        yield from ((stretch, _search(stretch, models)) for stretch in stretches)
        return
    with ThreadPoolExecutor(workers) as pool:
        asked: deque[tuple[_Stretch, Future[tuple[Flags, Floats]]]] = deque()
        for stretch in stretches:
            asked.append((stretch, pool.submit(_search, stretch, models)))
            if len(asked) > workers:
                done, future = asked.popleft()
                yield done, future.result()
        yield from ((done, future.result()) for done, future in asked)


def _search(stretch: _Stretch, models: IdleModels) -> tuple[Flags, Floats]:
    with models.borrowed() as model:
        detector = SpeechDetector(DETECTOR_RATE_HZ, layout_from("mono"), model)
        found = joined([detector.push_mono(stretch.samples), detector.finish()])
    own = slice(stretch.lead, stretch.lead + stretch.blocks)
    return found.speech[own], found.probability[own]
