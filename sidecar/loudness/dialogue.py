"""Dialogue loudness: BS.1770 loudness of the 100 ms blocks in which there is dialogue.

Sources: R 128 s4 as Tech 3343 §9.4 gives it (LDR is programme less dialogue loudness). ATSC A/85 asks for the
loudness of the anchor element, mostly dialogue, where it is clearest (from memory). Neither is followed
on how speech is detected: that it is detected, and where, is our own. Both gates of BS.1770-5 hold for what
lies in speech, as for a dialogue stem on its own.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sidecar.loudness.gating import GATING_STEPS, Part, Powers, gated_loudness, gating_powers
from sidecar.loudness.series import Floats
from sidecar.model.dialogue import LEAST_SPEECH_S, DialogueLoudness, DialogueOrigin
from sidecar.model.readings import BLOCK_S, SILENCE

Flags = NDArray[np.bool_]

_LEAST_IN_SPEECH = 2
"""100 ms steps of a gating block's four that must lie in speech for the block to count. Ours."""


def dialogue_loudness(
    energies: Floats, speech: Flags, probability: Floats | None = None, *, found_by: DialogueOrigin
) -> DialogueLoudness:
    """Returns the dialogue loudness of a whole programme without gaps.

    Parameters
    ----------
    energies
        K-weighted, channel-summed mean squares of 100 ms blocks, shape (n,).
    speech
        Which of them have dialogue, shape (n,).
    probability
        How probable the detector finds speech in each, 0 to 1, shape (n,); None for a stem or markers.
    found_by
        Where *speech* comes from.
    """
    gate = DialogueGate(found_by)
    gate.push_energies(energies)
    gate.push_speech(speech, probability)
    return gate.result(float(gated_loudness([Part(Powers(gating_powers(energies)))])))


class DialogueGate:
    """Gated loudness of the blocks with dialogue, as a programme goes on.

    Energies and what is known of speech in them are pushed apart, each in order: a detector lags behind the
    meter. A block counts once both are there. A look costs no more after a day than after a minute.
    """

    def __init__(self, found_by: DialogueOrigin) -> None:
        self._found_by = found_by
        self._powers = Powers()
        self._energies: Floats = np.empty(0)
        self._speech: Flags = np.empty(0, np.bool_)
        self._probability: Floats = np.empty(0)
        self._paired = 0
        """Of the blocks that are kept, how many have both: at most the last three, which begin the next
        gating blocks."""
        self._blocks = self._speech_blocks = 0
        self._summed_probability = 0.0

    def push_energies(self, energies: Floats) -> None:
        """Adds the energies of the next 100 ms blocks, mean squares, shape (n,)."""
        self._energies = np.concatenate([self._energies, energies])
        self._pair()

    def push_speech(self, speech: Flags, probability: Floats | None = None) -> None:
        """Adds which of the next blocks have dialogue, shape (n,), and how probable the detector finds it."""
        self._speech = np.concatenate([self._speech, speech])
        certain = np.ones(len(speech)) if probability is None else probability
        self._probability = np.concatenate([self._probability, certain])
        self._pair()

    def cut(self) -> None:
        """The next block does not follow the last one: no gating block lies across. Blocks whose speech or
        energy is still missing are left out."""
        self._keep_from(max(len(self._energies), len(self._speech)))
        self._paired = 0

    def result(self, programme_lufs: float) -> DialogueLoudness:
        """Returns the dialogue loudness so far. programme_lufs: integrated, ``-inf`` where unknown."""
        speech_s = self._speech_blocks * BLOCK_S
        enough = speech_s >= LEAST_SPEECH_S
        return DialogueLoudness(
            found_by=self._found_by,
            dialogue_lufs=float(gated_loudness([Part(self._powers)])) if enough else SILENCE,
            programme_lufs=programme_lufs,
            speech_s=speech_s,
            seconds=self._blocks * BLOCK_S,
            confidence=self._summed_probability / self._speech_blocks if self._speech_blocks else 0.0,
        )

    def _pair(self) -> None:
        both = min(len(self._energies), len(self._speech))
        if both == self._paired:
            return
        fresh = self._speech[self._paired : both]
        self._summed_probability += float(np.sum(self._probability[self._paired : both][fresh]))
        self._speech_blocks += int(np.count_nonzero(fresh))
        self._blocks += both - self._paired
        in_speech = gating_powers(self._speech[:both].astype(np.float64)) * GATING_STEPS
        # counts in whole numbers, compared halfway
        self._powers.append(gating_powers(self._energies[:both])[in_speech > _LEAST_IN_SPEECH - 0.5])
        self._paired = min(both, GATING_STEPS - 1)
        self._keep_from(both - self._paired)

    def _keep_from(self, first: int) -> None:
        self._energies = self._energies[first:]
        self._speech = self._speech[first:]
        self._probability = self._probability[first:]
