"""The keys of the instrument: the footer, the help and the list of commands are all made from this table."""

from __future__ import annotations

from dataclasses import replace

from textual.binding import Binding

MORE = "more"
"""The id of the key whose place is the right end of the footer, at every width."""

NEXT_PASS = "next_pass"
"""The action whose key is the first of the footer, while there is one."""

_LOG = Binding.Group("Log ±0.5 dB", compact=True)
_MOVE = Binding.Group("Move ±0.5 dB", compact=True)
_ZOOM = Binding.Group("Zoom", compact=True)


def _shown(
    key: str, action: str, label: str, tooltip: str, display: str | None = None, name: str | None = None
) -> Binding:
    """A key of the footer. name: in a key map, where it is not the label."""
    return Binding(key, action, label, tooltip=tooltip, key_display=display, id=name)


def _grouped(group: Binding.Group, key: str, action: str, label: str, tooltip: str, display: str) -> Binding:
    """A key that shares its place in the footer with its neighbour."""
    return Binding(key, action, label, tooltip=tooltip, key_display=display, group=group)


def _hidden(key: str, action: str, label: str, tooltip: str, display: str) -> Binding:
    """A key that only the help and the list of commands show."""
    return Binding(key, action, label, show=False, tooltip=tooltip, key_display=display)


def _fader(group: Binding.Group, action: str, verb: str, meaning: str) -> tuple[Binding, ...]:
    """The four keys of the master fader, for moves that the sidecar makes or that it only logs."""
    keys = (
        _grouped(group, "plus,equals_sign", f"{action}(0.5)", f"{verb} +0.5 dB", f"{meaning} up 0.5 dB", "+"),
        _grouped(group, "minus", f"{action}(-0.5)", f"{verb} −0.5 dB", f"{meaning} down 0.5 dB", "-"),
        _hidden("up", f"{action}(0.1)", f"{verb} +0.1 dB", f"{meaning} up 0.1 dB", "up"),
        _hidden("down", f"{action}(-0.1)", f"{verb} −0.1 dB", f"{meaning} down 0.1 dB", "down"),
    )
    ids = ("fader_up", "fader_down", "fader_up_little", "fader_down_little")
    return tuple(replace(key, id=name) for key, name in zip(keys, ids, strict=True))


KEYS = (
    _shown("space", "tell('start')", "Start", "start measuring"),
    _shown("space", "tell('pause')", "Pause", "pause integrated, range and maxima together"),
    _shown("space", "tell('continue')", "Continue", "continue after a pause"),
    _shown("space", "again(False)", "Again, from this fader", "rehearse again, the fader where it is"),
    _shown("escape", "now", "Now", "show the present again", "esc"),
    _shown("f", "tell('follow')", "Follow", "make the advised move, where the sidecar moves the fader"),
    _shown("f", "again(True)", "Again, as advised", "rehearse again, the fader where a whole pass lands"),
    _shown("x", "arm", "Arm", "allow automatic moves of the master fader (asks first)"),
    _shown("x", "tell('disarm')", "Disarm", "end automatic moves at once"),
    _shown("x", "cancel", "Cancel", "do not arm after all"),
    _shown("a", "tell('acknowledge')", "Ack", "acknowledge the alerts", name="acknowledge"),
    *_fader(_LOG, "log_fader", "Log", "log that the fader was moved"),
    *_fader(_MOVE, "move_fader", "Move", "move the fader"),
    _shown("q", "leave", "Quit", "close this screen (asks before it ends a live measurement)"),
    _shown("m", "tell('mark', '')", "Marker", "set a marker here"),
    _hidden("M", "label", "Named marker", "set a marker with a label", "M"),
    _hidden("d", "dialogue", "Dialogue", "mark where dialogue begins, and again where it ends", "d"),
    _shown("g", "goals", "Goal", "choose another goal"),
    _shown("r", NEXT_PASS, "Next pass", "begin the next pass", name="reset"),
    _shown("r", "reset", "Reset", "end this pass and begin the next one (asks first)"),
    _hidden("p", "tell('peak reset')", "Reset peaks", "reset the peak marks alone", "p"),
    _shown("l", "log", "Events", "events, passages over the limit, OSC destinations"),
    _hidden("e", "passes", "Passes", "this pass and those before it, with differences", "e"),
    _shown("i", "rides", "Rides", "list the rides that keep the goal's limits"),
    _shown("b", "balance", "Balance", "list a rough balance of the stems from silence"),
    _shown("u", "unit", "Unit", "LUFS, or LU from the goal"),
    _grouped(_ZOOM, "left_square_bracket", "zoom(-1)", "Zoom in", "show a shorter time", "["),
    _grouped(_ZOOM, "right_square_bracket", "zoom(1)", "Zoom out", "show a longer time", "]"),
    _shown("h", "help", "Help", "what each key does and each measure is"),
    _shown("question_mark", "commands", "more", "every command and goal by its name", "?", MORE),
    _hidden("colon,ctrl+p", "commands", "All", "every command and goal by its name", ":"),
    _hidden("s", "scale", "Scale", "reach of the scales: as EBU +9, or as EBU +18", "s"),
    _hidden("k", "contrast", "Contrast", "usual or high contrast", "k"),
    _hidden("o", "ground", "Ground", "dark or light background, or as the terminal", "o"),
    _hidden("c", "copy", "Copy figures", "copy the selected text, else one line of figures", "c"),
    _hidden("S", "still", "Save still", "save the screen as an SVG file in this folder", "S"),
    _hidden("left", "look(-1)", "Look back", "a cursor on the history, with its levels", "left"),
    _hidden("right", "look(1)", "Look later", "the cursor a little later", "right"),
    _hidden("shift+left", "look(-10)", "Look back further", "the cursor ten columns back", "shift+left"),
    _hidden("shift+right", "look(10)", "Look later, further", "the cursor ten columns on", "shift+right"),
    _hidden("pageup", "page(-1)", "Look a screen back", "the cursor almost a whole screen back", "pgup"),
    _hidden("pagedown", "page(1)", "Look a screen on", "the cursor almost a whole screen on", "pgdn"),
    _hidden("home", "first", "Beginning", "the cursor at the beginning", "home"),
    _hidden("end", "now", "Back to now", "show the present again", "end"),
    _hidden("comma", "jump(-1)", "Event before", "the cursor at the event before", ","),
    _hidden("full_stop", "jump(1)", "Next event", "the cursor at the next event, then the present", "."),
    _hidden("t", "lamps", "Look test", "every shape and colour, to tell apart", "t"),
    _hidden("ctrl+c", "leave", "Quit", "close this screen, as q", "ctrl+c"),
)


def explained(keys: tuple[Binding, ...] = KEYS) -> list[tuple[str, str]]:
    """Each key with what it does, for the help."""
    return [(binding.key_display or binding.key, binding.tooltip) for binding in keys]
