"""The dialogue of a run: its loudness from a stem of its own, or where a person marks it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from sidecar.errors import SettingsError
from sidecar.loudness.dialogue import DialogueGate, Flags
from sidecar.loudness.gating import ABSOLUTE_GATE
from sidecar.loudness.series import Floats
from sidecar.model.dialogue import DialogueLoudness, DialogueOrigin
from sidecar.model.readings import BLOCK_S
from sidecar.model.snapshot import Event

if TYPE_CHECKING:
    from sidecar.journal.resume import Resumable
    from sidecar.run.metering import Taken
    from sidecar.run.stem_faders import Mix

BEGINS, ENDS = "begins", "ends"
"""Texts of the events of the kind ``dialogue``."""


class RunDialogue:
    """Dialogue loudness of the pass that is measured; it belongs to the measuring thread."""

    def __init__(self, mix: Mix | None = None) -> None:
        """mix: the stems, one of which may be the dialogue."""
        self._stem = mix.dialogue if mix else None
        self._place = mix.names.index(self._stem) if mix and self._stem is not None else 0
        self.found_by: DialogueOrigin = "markers" if self._stem is None else "stem"
        self.reset()

    def reset(self) -> None:
        """Begins a new pass, without a marker."""
        self._gate = DialogueGate(self.found_by)
        self._heard_blocks = 0
        self._was_marked = False
        self.is_marked = False
        """True while a person marks dialogue."""

    def check_can_be_marked(self) -> None:
        """Raises SettingsError where the dialogue is known from elsewhere."""
        if self.found_by != "markers":
            raise SettingsError(
                f"The dialogue is measured from the stem {self._stem}. To mark it, start without --dialogue."
            )

    def mark(self, *, is_on: bool) -> None:
        """Sets whether the next blocks are dialogue."""
        self.is_marked = is_on
        self._was_marked |= is_on

    def push_blocks(self, taken: Taken) -> None:
        """Adds 100 ms blocks."""
        energies = taken.mix.energy
        if self._stem is not None and taken.stems is not None:
            energies = taken.stems.covariance[:, self._place, self._place]
        self._push(energies, np.full(len(energies), self.is_marked))

    def cut(self) -> None:
        """The next block does not follow the last one."""
        self._gate.cut()

    def restore(self, before: Resumable) -> None:
        """Restores the dialogue of an interrupted pass from its stem or its markers."""
        energies = before.energies
        if before.stems is not None and self._stem is not None:
            energies = before.stems.covariance[:, self._place, self._place].astype(np.float64)
        flags, self.is_marked = marked_blocks(before.history.events, len(energies))
        self._was_marked = bool(flags.any()) or self.is_marked
        for start, stop in pairwise([0, *before.cuts, len(energies)]):
            self._push(energies[start:stop], flags[start:stop])
            self.cut()

    def reading(self, programme_lufs: float) -> DialogueLoudness | None:
        """Returns the dialogue loudness so far; None where nothing was asked for or marked.

        programme_lufs: integrated loudness of the pass.
        """
        if self._stem is not None:
            found = self._gate.result(programme_lufs)
            return replace(found, speech_s=self._heard_blocks * BLOCK_S, stem=self._stem)
        return self._gate.result(programme_lufs) if self._was_marked else None

    def _push(self, energies: Floats, marked: Flags) -> None:
        """A stem counts as a whole, as its file does; how much of it sounds is only said."""
        is_stem = self._stem is not None
        self._gate.push_energies(energies)
        self._gate.push_speech(np.ones(len(energies), np.bool_) if is_stem else marked)
        self._heard_blocks += int(np.count_nonzero(energies > ABSOLUTE_GATE))


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
