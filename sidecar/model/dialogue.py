"""Dialogue loudness and what it was found by."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from sidecar.model.readings import SILENCE
from sidecar.model.units import json_number

DialogueOrigin = Literal["stem", "detector", "markers"]
"""Where dialogue is known from: its own stem, automatic detection in the mix, or markers set by hand."""

LEAST_SPEECH_S = 5.0
"""Ours: with less speech than that, one word more or less moves the figure by tenths of an LU."""

LEAST_SURE = 0.87
"""Confidence below which the detector is unsure: on the tuning half of
tests/benchmarks/dialogue_on_recordings.py it was over that in each mix with speech, under it in all music."""


@dataclass(frozen=True, slots=True)
class DialogueLoudness:
    """How loud the dialogue of a programme is, and how much of it was found."""

    found_by: DialogueOrigin
    """Where the dialogue is known from."""
    dialogue_lufs: float = SILENCE
    """Gated loudness (BS.1770-5 Annex 1) of the stretches with dialogue, everything in them included;
    ``-inf`` where less than :data:`LEAST_SPEECH_S` was found, or it is silent."""
    programme_lufs: float = SILENCE
    """Integrated loudness of the whole programme."""
    speech_s: float = 0.0
    """Seconds in which dialogue was found."""
    seconds: float = 0.0
    """Seconds of programme that were searched."""
    confidence: float = 1.0
    """0 to 1: average confidence of the detector where it found speech; 1 for a stem or markers."""
    stem: str = ""
    """Name of the stem, where the dialogue has its own."""

    @property
    def ldr_lu(self) -> float:
        """Loudness-to-dialogue ratio: programme less dialogue loudness (R 128 s4, Tech 3343 §9.4); ``-inf``
        where either is missing."""
        if not math.isfinite(self.dialogue_lufs) or not math.isfinite(self.programme_lufs):
            return SILENCE
        return self.programme_lufs - self.dialogue_lufs

    @property
    def speech_share(self) -> float:
        """0 to 1: how much of the time has dialogue."""
        return self.speech_s / self.seconds if self.seconds > 0.0 else 0.0

    @property
    def is_measured(self) -> bool:
        """False where too little dialogue was found for a figure."""
        return math.isfinite(self.dialogue_lufs)

    @property
    def is_sure(self) -> bool:
        """False where singing or an instrument may have been taken for speech."""
        return self.confidence >= LEAST_SURE


def dialogue_fields(found: DialogueLoudness) -> dict[str, object]:
    """Returns *found* by the names and in the units that scripts read; null where it is not measured."""
    return {
        "found_by": found.found_by,
        **({"stem": found.stem} if found.stem else {}),
        "dialogue_lufs": json_number(found.dialogue_lufs),
        "ldr_lu": json_number(found.ldr_lu),
        "speech_s": round(found.speech_s, 1),
        "speech_share": round(found.speech_share, 3),
        "confidence": round(found.confidence, 3),
    }
