"""One line of figures for the clipboard, and the still of the screen."""

import asyncio
from xml.etree import ElementTree

import scripted_feed as scenes
from driving import drive, shown, until

from tui import texts
from tui.app import make_app
from tui.drawing.figures import figures

_NOTICE = "&#160;".join(texts.COPIED.split())


def test_the_line_has_every_measure_with_its_unit():
    assert figures(scenes.failed().shown) == (
        "5:00, integrated −20.9 LUFS, range 6.2 LU, max short-term −16.2 LUFS, max momentary −14.2 LUFS, "
        "true peak −0.4 dBTP, PLR 20.5 LU, goal production −23.0 LUFS"
    )


def test_before_any_sound_there_are_no_figures():
    assert "integrated −−.− LUFS" in figures(scenes.preparing().shown)


def test_a_still_is_an_svg_file_of_what_is_shown(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)

    async def script(pilot):
        await pilot.press("S")
        await until(pilot, lambda: any(tmp_path.glob("*.svg")), "the file")

    drive(scenes.down(), script)
    (file,) = tmp_path.glob("*.svg")
    root = ElementTree.parse(file).getroot()

    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    assert "measuring" in "".join(root.itertext())


def test_a_still_is_free_of_the_answers_to_keys_before(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    app = make_app(scenes.down())

    async def script():
        async with app.run_test(size=(160, 40), notifications=True) as pilot:
            await until(pilot, lambda: "measuring" in shown(app), "the first drawing")
            await pilot.press("c")
            await until(pilot, lambda: _NOTICE in app.export_screenshot(), "the notice")
            await pilot.press("S")
            await until(pilot, lambda: any(tmp_path.glob("*.svg")), "the file")
            await until(pilot, lambda: "Saved sidecar-" in shown(app), "its name")

    asyncio.run(script())
    (file,) = tmp_path.glob("*.svg")

    assert "measuring" in file.read_text()
    assert _NOTICE not in file.read_text()


def test_a_still_that_cannot_be_saved_is_said_on_the_screen(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("tui.screens.main.write_whole", _refuse)

    async def script(pilot):
        await pilot.press("S")
        await until(pilot, lambda: "was not saved" in shown(pilot.app), "the refusal")

    drive(scenes.down(), script, (200, 40))


def _refuse(*_):
    raise PermissionError(13, "Permission denied")
