"""The inks: what each tone is drawn with, on terminals of every depth, in usual and in high contrast, on a
dark and on a light ground.

The colours stay apart for colour-blind eyes and survive the step down to 16 colours (checked by a
test): under becomes blue, over yellow, ceiling magenta, the bright ones on a dark ground. Text differs
from its ground by 4.5:1 at least, in high contrast by 7:1 (WCAG 2.x SC 1.4.3 and 1.4.6, checked by a test).
"""

from __future__ import annotations

from collections.abc import Mapping

from sidecar.settings.taste import Contrast, Shade

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


LIGHT_COLOURS: Inks = {
    "paper": "#fafbfc",
    "sheet": "#eef1f3",
    "plain": "#15181b",
    "strong": "bold #000000",
    "dim": "#434b52",
    "faint": "#59626a",
    "track": "#9aa3aa",
    "zone": "#848d94",
    "latched": "#dfe3e7",
    "fill": "#3c959b",
    "soft": "#b9dadd",
    "band": "#cdd3d8",
    "ahead-under": "#b5d0f0",
    "ahead-inside": "#c3c9ce",
    "ahead-over": "#f0d5ac",
    "inside": "#15181b",
    "level": "#69737b",
    "under": "#0a4fb0",
    "over": "#7d3c00",
    "ceiling": "#bb0f70",
}

_LIGHT_SIXTEEN: Inks = {
    "paper": "#ffffff",
    "sheet": "#ffffff",
    "plain": "#000000",
    "dim": "#555555",
    "faint": "#555555",
    "track": "#aaaaaa",
    "zone": "#aaaaaa",
    "latched": "#aaaaaa",
    "fill": "#00aaaa",
    "soft": "#55ffff",
    "band": "#aaaaaa",
    "ahead-under": "#5555ff",
    "ahead-inside": "#aaaaaa",
    "ahead-over": "#ffff55",
    "inside": "#000000",
    "level": "#555555",
    "under": "#0000aa",
    "over": "#aa5500",
    "ceiling": "#aa00aa",
}
"""16 colours hold one light grey and one dark one, so that sheet and paper are one."""

LIGHT_SIXTEEN: Inks = {**LIGHT_COLOURS, **_LIGHT_SIXTEEN}

LIGHT_GREYS: Inks = {
    **LIGHT_COLOURS,
    "dim": "#484848",
    "faint": "#606060",
    "track": "#a0a0a0",
    "level": "#6e6e6e",
    "zone": "#8c8c8c",
    "latched": "#e0e0e0",
    "fill": "#7a7a7a",
    "soft": "#b4b4b4",
    "band": "#d2d2d2",
    "ahead-under": "#c0c0c0",
    "ahead-inside": "#c0c0c0",
    "ahead-over": "#c0c0c0",
    "under": "#303030",
    "over": "bold #000000",
    "ceiling": "bold #000000",
}
"""On a light ground the alarm is the darkest."""

_LIGHT_HIGH: Inks = {
    "paper": "#ffffff",
    "sheet": "#ffffff",
    "plain": "#000000",
    "dim": "#303030",
    "faint": "#404040",
    "track": "#767676",
    "zone": "#6a6a6a",
    "latched": "#f0f0f0",
    "inside": "#000000",
    "level": "#303030",
}

LIGHT_HIGH_COLOURS: Inks = {
    **LIGHT_COLOURS,
    **_LIGHT_HIGH,
    "fill": "#2b7f85",
    "under": "#0047a0",
    "over": "#663000",
    "ceiling": "#9a0058",
}

LIGHT_HIGH_SIXTEEN: Inks = {**LIGHT_HIGH_COLOURS, **_LIGHT_SIXTEEN}

LIGHT_HIGH_GREYS: Inks = {**LIGHT_GREYS, **_LIGHT_HIGH}

_TABLES: Mapping[tuple[Shade, Contrast], tuple[Inks, Inks, Inks]] = {
    ("dark", "usual"): (COLOURS, SIXTEEN, GREYS),
    ("dark", "high"): (HIGH_COLOURS, HIGH_SIXTEEN, HIGH_GREYS),
    ("light", "usual"): (LIGHT_COLOURS, LIGHT_SIXTEEN, LIGHT_GREYS),
    ("light", "high"): (LIGHT_HIGH_COLOURS, LIGHT_HIGH_SIXTEEN, LIGHT_HIGH_GREYS),
}


def inks(contrast: Contrast, shade: Shade = "dark", *, sixteen: bool = False, grey: bool = False) -> Inks:
    """The inks for a terminal: *sixteen* where it has so many colours, *grey* where none are wanted.

    shade: that of the ground.
    """
    colours, of_sixteen, greys = _TABLES[shade, contrast]
    if grey:
        return greys
    return of_sixteen if sixteen else colours
