"""What a check writes: where, under which names, and with what in it."""

import csv
import importlib.metadata
import struct
from datetime import UTC, datetime
from importlib.metadata import PackageNotFoundError
from pathlib import Path

import numpy as np
import pytest
from made import level_history, made, made_check

from sidecar.delivery.measure.dialogue import FileDialogue
from sidecar.delivery.report.files import Reports, names_for, write_history, write_plot
from sidecar.delivery.report.signature import Signature
from sidecar.errors import MissingPackage, OutputError, SidecarError
from sidecar.model.dialogue import DialogueLoudness
from sidecar.settings.goals import load_goal
from sidecar.version import program_version


def checked(file="mix.wav"):
    return made_check(made(), "r128", file=file)


def test_one_file_has_the_name_that_was_asked_for():
    """No folder is made for it."""
    assert [Path("out/r.html")] == names_for(Path("out/r.html"), ["a/mix.wav"], several=False)


def test_several_files_have_a_folder_and_none_replaces_another():
    """Names that occur twice, or differ in case only, get different files, on every file system."""
    names = names_for(
        Path("r.html"), ["a/mix.wav", "b/mix.wav", "MIX.wav", "mix.wav-2", "mix.flac"], several=True
    )

    assert [
        Path("r/mix.wav.html"),
        Path("r/mix.wav-2.html"),
        Path("r/MIX.wav-3.html"),
        Path("r/mix.wav-2-2.html"),
        Path("r/mix.flac.html"),
    ] == names


SIGNATURE = Signature(datetime(2026, 3, 1, tzinfo=UTC))


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"page": Path("mix.wav")}, "--report mix.wav must end in .html"),
        ({"history": Path("mix.flac")}, "--csv mix.flac must end in .csv"),
        ({"plot": Path("mix")}, "--plot mix must end in .png or .svg"),
        ({"page": Path("nowhere/r.html")}, "there is no folder nowhere"),
    ],
)
def test_a_name_that_could_be_a_slip_is_refused(asked, said):
    """A sound file is never written over, and nothing is measured in vain."""
    with pytest.raises(SidecarError, match=said):
        Reports(["mix.wav"], SIGNATURE, **asked)


def test_a_copy_that_nobody_installed_signs_all_the_same(monkeypatch):
    """Its version is not known, and that is what it says."""

    def none(name):
        raise PackageNotFoundError(name)

    monkeypatch.setattr(importlib.metadata, "distribution", none)
    program_version.cache_clear()
    signed = SIGNATURE.program
    program_version.cache_clear()

    assert signed == "Loudness Sidecar unknown"


def test_a_folder_that_several_parts_share_is_named_once(tmp_path):
    """``--plot all.svg --csv all.csv`` of several files both lie in ``all``."""
    reports = Reports(["a.wav", "b.wav"], SIGNATURE, plot=tmp_path / "all.svg", history=tmp_path / "all.csv")

    assert reports.write_index([checked("a.wav"), checked("b.wav")], [load_goal("r128")]) == [
        tmp_path / "all"
    ]


def test_without_the_renderer_a_picture_is_refused_with_the_line_that_installs_it(monkeypatch):
    """And a drawing is offered that needs nothing."""
    monkeypatch.setattr("sidecar.delivery.report.files.find_spec", lambda _: None)
    Reports(["mix.wav"], SIGNATURE, plot=Path("mix.svg"))

    with pytest.raises(MissingPackage, match=r"pip install 'loudness-sidecar\[report\]'"):
        Reports(["mix.wav"], SIGNATURE, plot=Path("mix.png"))


def test_what_cannot_be_written_is_said(tmp_path):
    """A folder of that name is in the way."""
    (tmp_path / "c.csv").mkdir()

    with pytest.raises(OutputError, match=r"c\.csv cannot be written: Is a directory"):
        write_history(tmp_path / "c.csv", made())


def test_a_report_that_the_disk_does_not_take_leaves_the_old_one_whole(tmp_path, files_end_at):
    """Yesterday's proof is not cut off by today's full disk, and no part of today's is left."""
    place = tmp_path / "c.csv"
    place.write_text("yesterday")
    with files_end_at(4096), pytest.raises(OutputError, match=r"c\.csv cannot be written: File too large"):
        write_history(place, made(history=level_history(1000, momentary=-23.0, true_peak=-9.0)))

    assert place.read_text() == "yesterday"
    assert [entry.name for entry in tmp_path.iterdir()] == ["c.csv"]


def test_the_history_as_values(tmp_path):
    """A row each tenth of a second, at the end of its windows; silence is empty."""
    history = level_history(3, momentary=-23.456, true_peak=-9.0)
    history.short_term[0] = -np.inf
    history.true_peak[2, 1] = -1.005
    write_history(tmp_path / "c.csv", made(history=history))
    with (tmp_path / "c.csv").open(newline="") as file:
        rows = list(csv.reader(file))

    assert rows == [
        ["seconds", "momentary_lufs", "short_term_lufs", "true_peak_1_dbtp", "true_peak_2_dbtp"],
        ["0.1", "-23.46", "", "-9.00", "-9.00"],
        ["0.2", "-23.46", "-23.00", "-9.00", "-9.00"],
        ["0.3", "-23.46", "-23.00", "-9.00", "-1.00"],
    ]


def test_the_history_as_values_has_dialogue_where_it_was_measured(tmp_path):
    found = FileDialogue(DialogueLoudness("detector"), ((1, 3),))
    write_history(tmp_path / "c.csv", made(history=level_history(4)), [found])
    with (tmp_path / "c.csv").open(newline="") as file:
        rows = list(csv.reader(file))

    assert [row[-1] for row in rows] == ["dialogue", "0", "1", "1", "0"]


def test_the_picture_is_the_drawing(tmp_path):
    """A PNG of twice the drawing's size (Portable Network Graphics, ISO/IEC 15948 §5.2 and §11.2.2)."""
    write_plot(tmp_path / "p.png", checked())
    write_plot(tmp_path / "p.svg", checked("a<b.wav"))
    png = (tmp_path / "p.png").read_bytes()

    assert png[:8] == b"\x89PNG\r\n\x1a\n"
    assert struct.unpack(">II", png[16:24]) == (1720, 720)
    assert "a&lt;b.wav: meets EBU R 128, production" in (tmp_path / "p.svg").read_text(encoding="utf-8")


@pytest.mark.slow
def test_the_words_of_the_picture_are_rendered(tmp_path):
    """Fonts are found: a picture with a heading has more in it than one of the same file without its name."""
    write_plot(tmp_path / "long.png", checked("a very long name of a file indeed.wav"))
    write_plot(tmp_path / "short.png", checked("x.wav"))

    assert (tmp_path / "long.png").stat().st_size > (tmp_path / "short.png").stat().st_size + 1000
