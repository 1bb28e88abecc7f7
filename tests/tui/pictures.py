"""Pictures of the screen as text: what is in each cell, and with which ink on which ground.

Text is small, can be read in a review, and does not change with the version of the toolkit. After a change
that is meant, ``python tests/tui/pictures.py`` draws all of them anew; look at each difference before it is
committed.
"""

from __future__ import annotations

import asyncio
from pathlib import Path
from string import ascii_letters, digits

import scripted_feed as scenes
from driving import TIME_OF_DAY, settled

from tui.app import make_app
from tui.palette import Palette
from tui.theme import HIGH_COLOURS, HIGH_GREYS, inks
from tui.widgets.panel import Panel

FOLDER = Path(__file__).with_name("pictures")

SMALL, MIDDLE, WALL = (80, 24), (120, 40), (200, 60)
STILL = [scene for scene in scenes.SCENES if scene != "playing"]
PICTURES = [
    *((scene, size, "colours") for scene in STILL for size in (SMALL, MIDDLE)),
    *((scene, WALL, "colours") for scene in ("down", "alerted", "crowded")),
    *(
        (scene, SMALL, looks)
        for scene in ("down", "alerted")
        for looks in ("sixteen", "grey", "high", "ascii")
    ),
]

LOOKS = {
    "colours": Palette(inks("usual")),
    "sixteen": Palette(inks("usual", sixteen=True)),
    "grey": Palette(inks("usual", grey=True)),
    "high": Palette(HIGH_COLOURS),
    "ascii": Palette(HIGH_GREYS, ascii_only=True),
}

_LETTERS = ascii_letters + digits


def name_of(scene: str, size: tuple[int, int], looks: str) -> str:
    """The file of a picture."""
    return f"{scene}-{size[0]}x{size[1]}-{looks}.txt"


def picture(scene: str, size: tuple[int, int], looks: str) -> str:
    """Rows of cells between bars, under each the letters of its styles, and at the end what they mean."""
    palette = LOOKS[looks]
    app = make_app(scenes.SCENES[scene](), ascii_only=palette.ascii_only)
    app.palette = palette
    app.controller.time_of_day = lambda: TIME_OF_DAY
    lines: list[str] = []

    async def run() -> None:
        async with app.run_test(size=size) as pilot:
            await settled(pilot, size[1] - 1)
            lines.extend(_lines(app))

    asyncio.run(run())
    return "\n".join(lines) + "\n"


def _lines(app) -> list[str]:
    letters: dict[str, str] = {}
    lines = []
    for panel in app.screen.query(Panel):
        for y in range(panel.size.height):
            strip = panel.render_line(y)
            styles = ""
            for text, style, _ in strip:
                letter = letters.setdefault(str(style), _LETTERS[len(letters)])
                styles += letter * len(text)
            lines += [f"|{strip.text}|", f" {styles}"]
    return [*lines, "", *(f"{letter} {style}" for style, letter in letters.items())]


def main() -> None:
    """Draws all pictures anew."""
    FOLDER.mkdir(exist_ok=True)
    for old in FOLDER.glob("*.txt"):
        old.unlink()
    for one in PICTURES:
        (FOLDER / name_of(*one)).write_text(picture(*one), encoding="utf-8")


if __name__ == "__main__":
    main()
