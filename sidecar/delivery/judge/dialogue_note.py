"""The dialogue of a file in sentences."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from sidecar.delivery.judge.findings import Finding
from sidecar.delivery.measure.dialogue import FileDialogue
from sidecar.loudness.dialogue_guides import share
from sidecar.loudness.limits import excess, side_of
from sidecar.model.dialogue import LEAST_SPEECH_S, DialogueLoudness
from sidecar.model.units import figure, percent
from sidecar.settings.goals import Goal


def dialogue_note(dialogue: DialogueLoudness, goal: Goal) -> Finding:
    """Returns dialogue loudness and LDR with how the dialogue was found, and what the goal wants of them."""
    sentences = [_figures(dialogue, goal.unit), _origin(dialogue), *_guidance(dialogue, goal)]
    return Finding("note", "dialogue", " ".join(sentences))


def dialogue_notes(found: Iterable[FileDialogue], goal: Goal) -> Iterator[Finding]:
    """Yields the note of each way in which the dialogue of a file was found."""
    return (dialogue_note(each.loudness, goal) for each in found)


def dialogue_figures(dialogue: DialogueLoudness, unit: str) -> str:
    """Returns dialogue loudness and LDR, or that there is none, without a full stop."""
    if not dialogue.is_measured:
        return "no dialogue loudness"
    return f"dialogue {figure(dialogue.dialogue_lufs)} {unit}, LDR {figure(dialogue.ldr_lu)} LU"


def _figures(dialogue: DialogueLoudness, unit: str) -> str:
    words = dialogue_figures(dialogue, unit)
    return f"{words[:1].upper()}{words[1:]}."


def _origin(dialogue: DialogueLoudness) -> str:
    """How the dialogue was found; where there is no figure, why."""
    found = f"{dialogue.speech_s:.1f} s"
    if dialogue.found_by == "markers":
        return f"Its cue markers name {found} of dialogue."
    if not dialogue.is_measured:
        return f"Automatic detection found {found} of speech; {LEAST_SPEECH_S:g} s are needed."
    found = f"Automatic detection found speech {share(dialogue)}, confidence {percent(dialogue.confidence)}."
    return found if dialogue.is_sure else f"{found} That is low: it may be singing or an instrument."


def _guidance(dialogue: DialogueLoudness, goal: Goal) -> Iterator[str]:
    """Where the figures lie outside of what the goal guides to, which is never a reason to fail."""
    if not dialogue.is_measured:
        return
    for name, value, low, high, unit in (
        (
            "the dialogue",
            dialogue.dialogue_lufs,
            goal.least_dialogue_lufs,
            goal.most_dialogue_lufs,
            goal.unit,
        ),
        ("LDR", dialogue.ldr_lu, None, goal.ldr_guide_lu, "LU"),
    ):
        side = side_of(value, low, high)
        limit = low if side == "under" else high
        if side != "inside" and limit is not None:
            beyond = figure(abs(excess(value, limit)))
            yield f"For guidance: {name} is {beyond} LU {side} {figure(limit)} {unit} ({goal.source})."
