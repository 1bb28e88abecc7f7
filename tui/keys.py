"""The keys of the instrument: the footer and the help are both made from this table."""

from __future__ import annotations

from textual.binding import Binding

_FADER = Binding.Group("Fader", compact=True)
_ZOOM = Binding.Group("Zoom", compact=True)


def _shown(key: str, action: str, label: str, tooltip: str, display: str | None = None) -> Binding:
    """A key that stands in the footer."""
    return Binding(key, action, label, tooltip=tooltip, key_display=display)


def _grouped(group: Binding.Group, key: str, action: str, tooltip: str, display: str) -> Binding:
    """A key that shares its label with its neighbour."""
    return Binding(key, action, group.description, tooltip=tooltip, key_display=display, group=group)


def _hidden(key: str, action: str, tooltip: str, display: str) -> Binding:
    """A key that only the help tells of."""
    return Binding(key, action, show=False, tooltip=tooltip, key_display=display)


KEYS = (
    _shown("space", "tell('start')", "Start", "start measuring"),
    _shown("space", "tell('pause')", "Pause", "pause: integrated, range and maxima wait together"),
    _shown("space", "tell('continue')", "Go on", "go on where it was paused"),
    _shown("r", "reset", "Reset", "begin anew (asks first)"),
    _shown("g", "goals", "Goal", "choose another goal"),
    _shown("m", "tell('mark', '')", "Mark", "mark this moment"),
    _hidden("M", "label", "mark with a label", "M"),
    _shown("a", "tell('acknowledge')", "Ack", "acknowledge the alerts"),
    _shown("f", "tell('follow')", "Follow", "make the advised move, where the sidecar may move the fader"),
    _shown("x", "arm", "Arm", "give leave to move the workstation's fader (asks first)"),
    _shown("x", "tell('disarm')", "Disarm", "take that leave back, at once"),
    _hidden("y", "tell('confirm')", "yes to the question: the fader was moved so", "y"),
    _hidden("n", "tell('dismiss')", "no to the question: it was not", "n"),
    _grouped(_FADER, "plus,equals_sign", "nudge(0.5)", "fader up 0.5 dB: moved, or told that it was", "+"),
    _grouped(_FADER, "minus", "nudge(-0.5)", "fader down 0.5 dB: moved, or told that it was", "-"),
    _hidden("up", "nudge(0.1)", "fader up 0.1 dB", "up"),
    _hidden("down", "nudge(-0.1)", "fader down 0.1 dB", "down"),
    _hidden("s", "scale", "reach of the scales: as EBU +9, or as EBU +18", "s"),
    _shown("question_mark", "help", "Help", "what each measure and each key means", "?"),
    _shown("q", "leave", "Quit", "leave the screen; the run is not this screen's to end"),
    _shown("i", "rides", "Rides", "list the rides that bring the course into the goal's limits"),
    _shown("b", "balance", "Balance", "list a rough balance of the stems from silence, one by one"),
    _shown("u", "unit", "LU", "LUFS, or LU from the goal"),
    _grouped(_ZOOM, "left_square_bracket", "zoom(-1)", "show a shorter stretch", "["),
    _grouped(_ZOOM, "right_square_bracket", "zoom(1)", "show a longer stretch", "]"),
    _hidden("ctrl+c", "leave", "leave the screen", "ctrl+c"),
)


def explained() -> list[tuple[str, str]]:
    """Each key with what it does, for the help."""
    return [(binding.key_display or binding.key, binding.tooltip) for binding in KEYS]
