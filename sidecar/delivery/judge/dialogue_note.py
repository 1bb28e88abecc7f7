"""The dialogue of a file in sentences."""

from __future__ import annotations

from collections.abc import Iterator

from sidecar.delivery.judge.findings import Finding
from sidecar.loudness.limits import excess, is_over, is_under
from sidecar.model.dialogue import LEAST_SPEECH_S, DialogueLoudness
from sidecar.model.units import figure
from sidecar.settings.goals import Goal


def dialogue_note(dialogue: DialogueLoudness, goal: Goal) -> Finding:
    """Returns dialogue loudness and LDR with how the dialogue was found, and what the goal wants of them."""
    sentences = [_figures(dialogue, goal.unit), _origin(dialogue), *_guidance(dialogue, goal)]
    return Finding("note", "dialogue", " ".join(sentences))


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
    share, sure = (_percent(value) for value in (dialogue.speech_share, dialogue.confidence))
    found = f"Automatic detection found speech in {share} of the time, {sure} sure."
    return found if dialogue.is_sure else f"{found} That is unsure: it may be singing or an instrument."


def _guidance(dialogue: DialogueLoudness, goal: Goal) -> Iterator[str]:
    """Where the figures lie outside of what the goal guides to, which is never a reason to fail."""
    if not dialogue.is_measured:
        return
    lufs, least, most = dialogue.dialogue_lufs, goal.least_dialogue_lufs, goal.most_dialogue_lufs
    if most is not None and is_over(lufs, most):
        over = figure(excess(lufs, most))
        yield f"For guidance: the dialogue is {over} LU over {figure(most)} {goal.unit} ({goal.source})."
    if least is not None and is_under(lufs, least):
        under = figure(-excess(lufs, least))
        yield f"For guidance: the dialogue is {under} LU under {figure(least)} {goal.unit} ({goal.source})."
    if goal.ldr_guide_lu is not None and is_over(dialogue.ldr_lu, goal.ldr_guide_lu):
        over = figure(excess(dialogue.ldr_lu, goal.ldr_guide_lu))
        yield f"For guidance: LDR is {over} LU over {figure(goal.ldr_guide_lu)} LU ({goal.source})."


def _percent(share: float) -> str:
    return f"{round(100.0 * share)} %"
