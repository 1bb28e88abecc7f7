"""The inks: what each tone is drawn with, on terminals of every depth, in usual and in high contrast.

The colours stay apart for colour-blind eyes and survive the step down to 16 colours (checked by a
test): under becomes bright blue, over bright yellow, ceiling bright magenta. Text stands out from its
ground by 4.5:1 at least, in high contrast by 7:1 (WCAG 2.x SC 1.4.3 and 1.4.6, checked by a test).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

Contrast = Literal["usual", "high"]

Inks = Mapping[str, str]

COLOURS: Inks = {
    "paper": "#101418",
    "sheet": "#1c1f22",
    "plain": "#e6e9ec",
    "strong": "bold #ffffff",
    "dim": "#a8b4bd",
    "faint": "#87929b",
    "track": "#565d63",
    "zone": "#626a70",
    "latched": "#31363c",
    "fill": "#2f7a80",
    "soft": "#27424a",
    "band": "#3a4046",
    "ahead-under": "#1f3c5c",
    "ahead-inside": "#43494f",
    "ahead-over": "#57400f",
    "inside": "#e6e9ec",
    "level": "#77828b",
    "under": "#4da3ff",
    "over": "#ffac20",
    "ceiling": "#ff70b8",
}

_SIXTEEN_AHEAD: Inks = {"ahead-under": "#000080", "ahead-inside": "#808080", "ahead-over": "#808000"}

SIXTEEN: Inks = {**COLOURS, **_SIXTEEN_AHEAD, "fill": "#008080"}
"""For 16 colours, which hold one dark grey only: the history is set apart from the goal's band."""

GREYS: Inks = {
    **COLOURS,
    "strong": "bold #ffffff",
    "dim": "#b0b0b0",
    "faint": "#909090",
    "track": "#606060",
    "level": "#909090",
    "zone": "#585858",
    "latched": "#404040",
    "fill": "#808080",
    "soft": "#505050",
    "band": "#383838",
    "ahead-under": "#4c4c4c",
    "ahead-inside": "#4c4c4c",
    "ahead-over": "#4c4c4c",
    "under": "#e6e6e6",
    "over": "bold #ffffff",
    "ceiling": "bold #ffffff",
}
"""For NO_COLOR: the alarm is the brightest thing on the screen, never the darkest."""

_HIGH: Inks = {
    "paper": "#000000",
    "sheet": "#000000",
    "plain": "#ffffff",
    "dim": "#d7d7d7",
    "faint": "#c4c4c4",
    "track": "#808080",
    "zone": "#8c8c8c",
    "latched": "#1c1c1c",
    "inside": "#ffffff",
    "level": "#d7d7d7",
}

HIGH_COLOURS: Inks = {
    **COLOURS,
    **_HIGH,
    "fill": "#2f8a90",
    "soft": "#1f4a50",
    "under": "#6fb4ff",
    "over": "#ffbf47",
    "ceiling": "#ff84bc",
}

HIGH_SIXTEEN: Inks = {**HIGH_COLOURS, **_SIXTEEN_AHEAD, "fill": "#008080", "latched": "#303030"}
"""For 16 colours, whose figures are the terminal's own: the lighter blue becomes bright cyan there."""

HIGH_GREYS: Inks = {**GREYS, **_HIGH}


def inks(contrast: Contrast, *, sixteen: bool = False, grey: bool = False) -> Inks:
    """The inks for a terminal: *sixteen* where it has so many colours, *grey* where none are wanted."""
    high = contrast == "high"
    if grey:
        return HIGH_GREYS if high else GREYS
    if sixteen:
        return HIGH_SIXTEEN if high else SIXTEEN
    return HIGH_COLOURS if high else COLOURS
