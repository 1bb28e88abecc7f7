"""The dialogue of a run: its loudness on a stem of its own, where it is found in the mix, or where a person
marks it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from sidecar.errors import SettingsError
from sidecar.journal.record import SEARCHED, DialogueBlocks
from sidecar.loudness.dialogue import DialogueGate, Flags
from sidecar.loudness.gating import ABSOLUTE_GATE
from sidecar.loudness.series import Floats, Steps
from sidecar.loudness.statistics import runs
from sidecar.model.dialogue import DialogueLoudness, DialogueOrigin
from sidecar.model.readings import BLOCK_S, FloatArray
from sidecar.model.snapshot import Event

if TYPE_CHECKING:
    from sidecar.journal.resume import Resumable
    from sidecar.run.metering import Metering, Taken
    from sidecar.run.stem_faders import Mix
    from sidecar.speech.detector import SpeechBlocks, SpeechDetector
    from sidecar.speech.model import SpeechModel

Bytes = NDArray[np.uint8]

_WAITING = 10
"""Blocks that are gated together, unless the loudness is asked for before."""

BEGINS, ENDS = "begins", "ends"
"""Texts of the events of the kind ``dialogue``."""


class RunDialogue:
    """Dialogue loudness of the pass that is measured; it belongs to the measuring thread."""

    def __init__(self, mix: Mix | None = None, model: SpeechModel | None = None) -> None:
        """mix: the stems, one of which may be the dialogue. model: finds speech in the mix."""
        self._stem = mix.dialogue if mix else None
        self._place = mix.names.index(self._stem) if mix and self._stem is not None else 0
        self._model = model
        self.found_by: DialogueOrigin = "markers"
        if self._stem is not None:
            self.found_by = "stem"
        elif model is not None:
            self.found_by = "detector"
        self.reset()

    def reset(self) -> None:
        """Begins a new pass, without a marker."""
        self._gate = DialogueGate(self.found_by)
        self._waiting: list[tuple[Floats, bool]] = []
        """Blocks that are not gated yet, and whether a person marks them."""
        self._detector: SpeechDetector | None = None
        self._heard_blocks = 0
        self._blocks = 0
        self._flags = Steps()
        """1 for each block with dialogue, else 0, as far as they were searched."""
        self._speech: list[Bytes] = []
        """What was found since it was last recorded."""
        self._searched = 0
        """Blocks that were recorded as searched."""
        self._latest: tuple[float, DialogueLoudness] | None = None
        """Programme loudness, and what was found with it, as long as both stay what they are."""
        self._was_marked = False
        self.is_marked = False
        """True while a person marks dialogue."""

    def check_can_be_marked(self) -> None:
        """Raises SettingsError where the dialogue is known from elsewhere."""
        if self.found_by != "markers":
            how = "found automatically" if self._stem is None else f"measured on the stem {self._stem}"
            raise SettingsError(f"The dialogue is {how}. To mark it, start without --dialogue.")

    def mark(self, *, is_on: bool) -> None:
        """Sets whether the next blocks are dialogue."""
        self.is_marked = is_on
        self._was_marked |= is_on

    def push_frames(self, mix: FloatArray, meter: Metering) -> None:
        """Searches the frames of the mix, shape (n, channels), that *meter* was given."""
        if self._model is None:
            return
        if self._detector is None:
            from sidecar.speech.detector import SpeechDetector

            self._detector = SpeechDetector(meter.rate_hz, meter.loudspeakers, self._model)
        self._push_speech(self._detector.push(mix))

    def push_blocks(self, taken: Taken) -> None:
        """Adds 100 ms blocks."""
        energies = taken.mix.energy
        if self._stem is not None and taken.stems is not None:
            energies = taken.stems.covariance[:, self._place, self._place]
        self._latest = None
        self._waiting.append((energies, self.is_marked))
        if len(self._waiting) >= _WAITING:
            self._push_waiting()

    def _push_waiting(self) -> None:
        waiting, self._waiting = self._waiting, []
        if waiting:
            energies = [blocks for blocks, _ in waiting]
            flags = np.repeat([is_marked for _, is_marked in waiting], list(map(len, energies)))
            self._push(np.concatenate(energies), flags)

    def cut(self) -> None:
        """The next block does not follow the last one."""
        self._push_waiting()
        if self._detector is not None:
            self._push_speech(self._detector.finish())
            self._detector = None  # the audio may come at another rate
        self._gate.cut()
        self._flags.append(np.zeros(max(0, self._blocks - len(self._flags))))

    def flags(self) -> Flags:
        """Returns which blocks of the pass have dialogue, as far as that is known; empty where nothing was
        asked for or marked. Any thread may call it."""
        flags = self._flags  # a reset replaces it
        if self.found_by == "markers" and not self._was_marked:
            return np.empty(0, np.bool_)
        return flags.part(0, len(flags)) > 0.0

    def restore(self, before: Resumable) -> None:
        """Restores the dialogue of an interrupted pass from its stem, its markers or what was found."""
        energies = before.energies
        if before.stems is not None and self._stem is not None:
            energies = before.stems.covariance[:, self._place, self._place].astype(np.float64)
        flags, self.is_marked = marked_blocks(before.history.events, len(energies))
        self._was_marked = bool(flags.any()) or self.is_marked
        for start, stop in pairwise([0, *before.cuts, len(energies)]):
            if self._model is not None:
                self._restore_found(energies[start:stop], before.speech[start:stop])
                continue
            self._push(energies[start:stop], flags[start:stop])
            self._gate.cut()
        self._searched = len(energies)

    def take_record(self, programme_lufs: float) -> DialogueBlocks | None:
        """Returns what is to be recorded of the dialogue since the last call; None where nothing is.

        programme_lufs: integrated loudness of the pass.
        """
        found = self.reading(programme_lufs)
        if found is None:
            return None
        speech = np.concatenate(self._speech) if self._speech else np.empty(0, np.uint8)
        first, self._speech = self._searched, []
        self._searched += len(speech)
        return DialogueBlocks(found, first, speech)

    def reading(self, programme_lufs: float) -> DialogueLoudness | None:
        """Returns the dialogue loudness so far; None where nothing was asked for or marked.

        programme_lufs: integrated loudness of the pass.
        """
        if self.found_by == "markers" and not self._was_marked:
            return None
        if self._latest is None or self._latest[0] != programme_lufs:
            self._latest = programme_lufs, self._result(programme_lufs)
        return self._latest[1]

    def _result(self, programme_lufs: float) -> DialogueLoudness:
        self._push_waiting()
        found = self._gate.result(programme_lufs)
        if self._stem is None:
            return found
        return replace(found, speech_s=self._heard_blocks * BLOCK_S, stem=self._stem)

    def _push(self, energies: Floats, marked: Flags) -> None:
        """A stem counts as a whole, as its file does; how much of it sounds is only said."""
        self._blocks += len(energies)
        self._gate.push_energies(energies)
        if self._stem is not None:
            self._gate.push_speech(np.ones(len(energies), np.bool_))
            self._flags.append(np.where(energies > ABSOLUTE_GATE, 1.0, 0.0))
        elif self._model is None:
            self._gate.push_speech(marked)
            self._flags.append(marked.astype(np.float64))
        self._heard_blocks += int(np.count_nonzero(energies > ABSOLUTE_GATE))

    def _push_speech(self, found: SpeechBlocks) -> None:
        if len(found.speech):
            self._latest = None
            self._gate.push_speech(found.speech, found.probability)
            self._flags.append(found.speech.astype(np.float64))
            probable = np.clip(np.round(255.0 * found.probability), SEARCHED + 1.0, 255.0)
            self._speech.append(np.where(found.speech, probable, SEARCHED).astype(np.uint8))

    def _restore_found(self, energies: Floats, speech: Bytes) -> None:
        """Adds what is on record of a run of blocks, as far as they were searched."""
        self._flags.append(np.where(_padded(speech, len(energies)) > SEARCHED, 1.0, 0.0))
        self._blocks += len(energies)
        for first, stop in runs(speech > 0, 0):
            found = speech[first:stop]
            self._gate.push_energies(energies[first:stop])
            self._gate.push_speech(found > SEARCHED, found / 255.0)
            self._gate.cut()


def marked_blocks(events: Iterable[Event], blocks: int) -> tuple[Flags, bool]:
    """Returns which of the first *blocks* of a pass lie where a person marked dialogue, and whether the last
    such stretch is still open."""
    flags, begun = np.zeros(blocks, np.bool_), None
    for event in events:
        if event.kind != "dialogue":
            continue
        place = round(event.seconds / BLOCK_S)
        if event.text == BEGINS:
            begun = place if begun is None else begun
        elif begun is not None:
            flags[begun:place] = True
            begun = None
    if begun is not None:
        flags[begun:] = True
    return flags, begun is not None


def flags_of_record(past: Resumable) -> Flags:
    """Returns which blocks of a pass on record have dialogue, found automatically or marked; empty without
    any. Of a stem it is only on record how loud it was."""
    blocks = len(past.energies)
    marked, _ = marked_blocks(past.history.events, blocks)
    flags: Flags = marked | (_padded(past.speech, blocks) > SEARCHED)
    return flags if flags.any() else flags[:0]


def _padded(speech: Bytes, blocks: int) -> Bytes:
    padded = np.zeros(blocks, np.uint8)
    padded[: len(speech)] = speech[:blocks]
    return padded
