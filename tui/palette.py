"""From a tone to what a terminal shows: colour, grey or plain ASCII.

Without colour the tones differ by weight and reverse video; and a shape is always beside them.
"""

from __future__ import annotations

from rich.cells import cell_len
from rich.segment import Segment
from rich.style import Style
from textual.strip import Strip

from sidecar.model.foreign_text import printable
from tui.drawing.cells import Row, Tone
from tui.theme import COLOURS, Inks

_ASCII = str.maketrans(
    {
        **dict.fromkeys("◁←", "<"),
        **dict.fromkeys("▷▸→", ">"),
        **dict.fromkeys("◇◆", "o"),
        **dict.fromkeys("△▲▴╹", "^"),
        **dict.fromkeys("▼", "v"),
        **dict.fromkeys("█▇", "#"),
        **dict.fromkeys("▆▅▒", "="),
        **dict.fromkeys("▄▃─━╌−–", "-"),
        **dict.fromkeys("▂▁", "_"),
        **dict.fromkeys("░┊", ":"),
        **dict.fromkeys("▔▀", "~"),
        **dict.fromkeys("┼╂", "|"),
        **dict.fromkeys("╵╷", "'"),
        **dict.fromkeys("‖│", "|"),
        **dict.fromkeys("●■✶", "*"),
        **dict.fromkeys("↗", "/"),
        **dict.fromkeys("↘", "\\"),
        **dict.fromkeys("▣", "#"),
        **dict.fromkeys("▢", "o"),
        **dict.fromkeys("○", "o"),
        **dict.fromkeys("╳✗", "x"),
        **dict.fromkeys("✓", "+"),
        **dict.fromkeys("↕", "!"),
        **dict.fromkeys("…·", "."),
        **dict.fromkeys("±", "~"),
        **dict.fromkeys("  ", " "),
    }
)


def ascii_text(text: str) -> str:
    """*text* in ASCII, cell for cell; what has no counterpart becomes a question mark."""
    text = text.translate(_ASCII)
    return text if text.isascii() else "".join(c if c.isascii() else "?" * cell_len(c) for c in text)


class Palette:
    """Styles of the tones for one terminal, made once each."""

    def __init__(self, inks: Inks = COLOURS, *, ascii_only: bool = False) -> None:
        self.ascii_only = ascii_only
        self._inks = inks
        self._styles: dict[Tone, Style] = {}

    def use(self, inks: Inks) -> None:
        """Draws with other *inks* from now on."""
        self._inks = inks
        self._styles.clear()

    def style(self, tone: Tone) -> Style:
        """The style of an ink, ``ink bold`` or ``ink on ground``."""
        if tone not in self._styles:
            self._styles[tone] = self._made(tone)
        return self._styles[tone]

    def _made(self, tone: Tone) -> Style:
        ink, _, ground = tone.removesuffix(" bold").partition(" on ")
        paper = self._inks[ground or "paper"].split()[-1]
        weight = "bold " if tone.endswith(" bold") else ""
        return Style.parse(f"{weight}{self._inks[ink]} on {paper}")

    def ink(self, tone: Tone) -> Style:
        """The style of *tone* for text that lies on a widget's own ground; a ground of its own it keeps."""
        style = self.style(tone)
        return style if " on " in tone else Style(color=style.color, bold=style.bold)

    def text(self, text: str) -> str:
        """*text* as this terminal can show it; names from outside may hold anything."""
        text = printable(text)
        return ascii_text(text) if self.ascii_only else text

    def strip(self, row: Row, width: int) -> Strip:
        """One line of a widget, exactly *width* cells."""
        strip = Strip([Segment(self.text(text), self.style(tone)) for text, tone in row])
        return strip.adjust_cell_length(width, self.style("plain"))
