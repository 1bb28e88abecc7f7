"""Stills of the screen, to be looked at: every scene and dialog, at every size, on both grounds.

Run ``TEXTUAL_COLOR_SYSTEM=truecolor python tests/tui/stills.py FOLDER [SIZE]``: the folder then has an SVG
file a still, and for each size and ground a page of them all. A phone has the cells that its browser gets
(``sidecar/web/page.js``), upright and turned. ``standard`` in place of ``truecolor`` draws in 16 colours.
"""

from __future__ import annotations

import asyncio
import sys
from collections.abc import Sequence
from pathlib import Path

import scripted_feed as scenes
from driving import TIME_OF_DAY, settled

from sidecar.settings.taste import Taste
from tui.app import make_app

SIZES = {
    "80x24": (80, 24),
    "100x30": (100, 30),
    "120x40": (120, 40),
    "200x60": (200, 60),
    "phone-upright": (60, 56),
    "phone-turned": (120, 24),
}
GROUNDS = ("dark", "light")
DIALOGS = {
    "help": ("riding", "h"),
    "commands": ("riding", "question_mark"),
    "goals": ("riding", "g"),
    "events": ("alerted", "l"),
    "reset": ("riding", "r"),
    "leave": ("riding", "q"),
    "label": ("riding", "M"),
    "rides": ("riding", "i"),
    "looks": ("riding", "t"),
    "arm": ("unarmed", "x"),
    "balance": ("stems", "b"),
}
"""Each with its scene and key."""


async def draw(scene: str, size: tuple[int, int], ground: str, keys: tuple[str, ...] = ()) -> str:
    """Returns a still as SVG."""
    app = make_app(scenes.SCENES[scene](), ascii_only=False, taste=Taste(ground=ground))
    app.controller.time_of_day = lambda: TIME_OF_DAY
    async with app.run_test(size=size) as pilot:
        await settled(pilot, size[1] - 1)
        if keys:
            await pilot.press(*keys)
            await pilot.pause(0.2)
        return app.export_screenshot(title="")


def main(folder: Path, sizes: Sequence[str]) -> None:
    """Draws those of *sizes*, and the pages."""
    folder.mkdir(parents=True, exist_ok=True)
    stills = {scene: (scene,) for scene in scenes.SCENES if scene != "playing"}
    for size in sizes:
        for ground in GROUNDS:
            page = []
            for name, (scene, *keys) in {**stills, **DIALOGS}.items():
                file = f"{name}-{size}-{ground}.svg"
                (folder / file).write_text(asyncio.run(draw(scene, SIZES[size], ground, tuple(keys))))
                page.append(f'<figure><figcaption>{name}</figcaption><img src="{file}"></figure>')
            (folder / f"{size}-{ground}.html").write_text("\n".join(page))
            print(size, ground, flush=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2:] or list(SIZES))
