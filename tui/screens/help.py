"""What each measure and each key means."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from rich.text import Text
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, VerticalScroll
from textual.widgets import Footer, Static

from tui.palette import Palette
from tui.screens.dialog import Dialog

MEASURES = (
    ("The move", "which way and how many dB the programme fader should go, where the programme lands"
     " if it does, and the band it lands in nine times out of ten."),
    ("△ held by", "the true-peak ceiling, the limit of one step or the fader's end keeps the move small."),
    ("Stems", "each fader now, its move, what limits it (△peak the ceiling, step one safe step, end the"
     " fader's travel) and its true peak; the largest move is the one shown large, and all of them together"
     " land the mix there."),
    ("Balance", "a rough balance of the stems from silence: the anchor first, then the rest by energy, and"
     " where the mix lands with each."),
    ("Rails", "offsets from the goal: the middle is the goal, left is under, right is over, the shaded gate"
     " passes; the scale is stretched around the goal so that tenths are seen."),
    ("Landing", "where this pass, or else the next one, ends if the move is made, with its 90 % band."),
    ("Earlier pass", "where it fits what plays, the forecast is made from it."),
    ("Integrated", "loudness of the programme since the reset; silence and quiet passages are gated out"
     " (ITU-R BS.1770-5 Annex 1)."),
    ("Short-term", "loudness of the last 3 s, not gated (EBU Tech 3341 §2.2); its gate runs from 5 LU under"
     " the goal, where listeners' comfort ends (Tech 3343 §3.5.2), to the goal's hot line."),
    ("Momentary", "loudness of the last 0.4 s, not gated (EBU Tech 3341 §2.2); the same gate, up to the"
     " goal's own limit if it has one."),
    ("True peak", "the highest level between the samples so far, a mark for each channel; here the middle is"
     " the ceiling, and the number is what is left below it (ITU-R BS.1770-5 Annex 2)."),
    ("Range", "loudness range: how far soft and loud passages lie apart (EBU Tech 3342); settling in its"
     " first 60 s (Tech 3341 §2.4), and guidance only, never a reason to fail (Tech 3343 §3.3)."),
    ("Course", "short-term over time: solid up to the lowest of each column, softer up to the highest; the"
     " bright line is integrated, ahead of now it is the forecast."),
    ("Marks", "↕ fader, ◆ mark, △ ▷ alert, ╳ gap in the audio, ┼ new goal, ‖ pause."),
    ("Rides", "the fewest places where the fader must leave its line so that the course heard keeps the"
     " goal's limits: ▼ lower, ▲ higher, over the course and in a list; ramps are the time there and back."),
    ("Alerts", "△ ceiling: true peak; ▷ over: too loud for the goal; ▲ hot: short-term above the hot line;"
     " ╳ lost: audio is missing; ○ silent: nothing is heard. They stay until acknowledged."),
    ("▣ ARMED", "the sidecar may move the workstation's fader when you follow; ▢ not armed: it may not. A"
     " hand on the fader, lost audio or a fader that does not answer takes the leave back."),
    ("? question", "a move nobody told of, guessed from the sound; it counts only when you say yes."),
    ("Units", "LU is the offset from the goal, LUFS the absolute level (EBU Tech 3341 §2.7); a goal other"
     " than −23 LUFS is not EBU Mode (§2)."),
    ("Care", "raising gain can hurt ears and loudspeakers: turn monitors down first. This measures a signal,"
     " not sound pressure; the receiver's own specification and local rules come first."),
)  # fmt: skip


class HelpDialog(Dialog[None]):
    """The measures in a sentence each with their standard, and the keys."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,question_mark,q", "leave", "Back (up and down scroll)", key_display="esc"),
    ]

    DEFAULT_CSS = """
    HelpDialog > #box { padding: 0 1; max-height: 100%; height: 1fr; margin-bottom: 1; }
    HelpDialog Horizontal { height: auto; }
    HelpDialog .name { width: 13; }
    HelpDialog .text { width: 1fr; }
    """

    def __init__(self, keys: Iterable[tuple[str, str]], palette: Palette) -> None:
        super().__init__()
        self._keys = list(keys)
        self._palette = palette

    def compose(self) -> ComposeResult:
        with VerticalScroll(id="box"):
            yield from (self._entry(name, text) for name, text in (*MEASURES, ("", ""), *self._keys))
        yield Footer(compact=True, show_command_palette=False)

    def _entry(self, name: str, text: str) -> Horizontal:
        return Horizontal(
            Static(Text(self._palette.text(name), self._palette.ink("strong")), classes="name"),
            Static(Text(self._palette.text(text)), classes="text"),
        )

    def action_leave(self) -> None:
        self.dismiss(None)
