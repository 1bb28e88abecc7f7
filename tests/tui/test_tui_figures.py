"""One line of figures for the clipboard, and the still of the screen."""

from xml.etree import ElementTree

import scripted_feed as scenes
from driving import drive, shown, until

from tui.drawing.figures import figures


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


def test_a_still_that_cannot_be_saved_is_said_on_the_screen(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("tui.screens.main.write_whole", _refuse)

    async def script(pilot):
        await pilot.press("S")
        await until(pilot, lambda: "was not saved" in shown(pilot.app), "the refusal")

    drive(scenes.down(), script, (200, 40))


def _refuse(*_):
    raise PermissionError(13, "Permission denied")
