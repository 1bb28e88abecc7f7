"""The dialogue beside the guides of a goal, and in words. A guide never fails a programme."""

from __future__ import annotations

from sidecar.loudness.limits import Side, side_of
from sidecar.model.dialogue import LEAST_SPEECH_S, DialogueLoudness, DialogueOrigin
from sidecar.model.units import figure, percent
from sidecar.settings.goals import Goal

_NAMES: dict[DialogueOrigin, str] = {
    "stem": "Dialogue",
    "detector": "Detected dialogue",
    "markers": "Marked dialogue",
}


def loudness_side(dialogue: DialogueLoudness, goal: Goal) -> Side | None:
    """Returns where the dialogue loudness is; None without a guide or a figure."""
    least, most = goal.least_dialogue_lufs, goal.most_dialogue_lufs
    if not dialogue.is_measured or (least is None and most is None):
        return None
    return side_of(dialogue.dialogue_lufs, least, most)


def ldr_side(dialogue: DialogueLoudness, goal: Goal) -> Side | None:
    """Returns where the loudness-to-dialogue ratio is; None without a guide or a figure."""
    if not dialogue.is_measured or goal.ldr_guide_lu is None:
        return None
    return side_of(dialogue.ldr_lu, None, goal.ldr_guide_lu)


def loudness_guide(goal: Goal, zero_lufs: float = 0.0) -> str:
    """Returns the guide for the dialogue loudness; empty where there is none.

    zero_lufs: the loudness that the guide is written from.
    """
    least, most = (
        "" if guide is None else _plain(guide - zero_lufs)
        for guide in (goal.least_dialogue_lufs, goal.most_dialogue_lufs)
    )
    if not least:
        return most and f"guide to {most}"
    return f"guide {least} to {most}" if most else f"guide from {least}"


def ldr_guide(goal: Goal) -> str:
    """Returns the guide for the loudness-to-dialogue ratio; empty where there is none."""
    return "" if goal.ldr_guide_lu is None else f"guide to {_plain(goal.ldr_guide_lu)}"


def origin(dialogue: DialogueLoudness) -> str:
    """Returns how it is known where the dialogue is."""
    match dialogue.found_by:
        case "stem":
            return f"on the stem {dialogue.stem}"
        case "detector" if not dialogue.is_measured:  # a confidence is an average over what was found
            return "automatic detection"
        case "detector":
            return f"automatic, confidence {percent(dialogue.confidence)}"
        case "markers":
            return "marked by hand"


def share(dialogue: DialogueLoudness) -> str:
    """Returns how much of the time has dialogue."""
    return f"in {percent(dialogue.speech_share)} of the time"


def in_words(dialogue: DialogueLoudness, goal: Goal) -> str:
    """Returns loudness, ratio, share and origin, with the goal's guides: part of a sentence."""
    if not dialogue.is_measured:
        return f"dialogue not measured: less than {LEAST_SPEECH_S:g} s of it so far, {origin(dialogue)}"
    loudness = _beside(loudness_side(dialogue, goal), loudness_guide(goal))
    ratio = _beside(ldr_side(dialogue, goal), ldr_guide(goal))
    return (
        f"dialogue {figure(dialogue.dialogue_lufs)} {goal.unit}{loudness}, "
        f"LDR {figure(dialogue.ldr_lu)} LU{ratio}, {share(dialogue)}, {origin(dialogue)}"
    )


def briefly(dialogue: DialogueLoudness, goal: Goal) -> str:
    """Returns a sentence of loudness and ratio that says where they leave the guides."""
    name = _NAMES[dialogue.found_by]
    if not dialogue.is_measured:
        return f"{name} not measured yet."
    sides = loudness_side(dialogue, goal), ldr_side(dialogue, goal)
    loudness, ratio = (f", {side} its guide" if side in {"under", "over"} else "" for side in sides)
    return (
        f"{name} {figure(dialogue.dialogue_lufs)} {goal.unit}{loudness}; "
        f"LDR {figure(dialogue.ldr_lu)} LU{ratio}."
    )


def _beside(side: Side | None, guide: str) -> str:
    if side is None:
        return ""
    return f" ({guide})" if side == "inside" else f" ({side} the {guide})"


def _plain(guide: float) -> str:
    return f"{guide:g}".replace("-", "−")
