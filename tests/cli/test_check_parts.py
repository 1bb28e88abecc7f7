"""Parts of a file: each measures what it would as a file of its own, and places are in timecode."""

import json
import struct

import numpy as np
import pytest
import soundfile
from jsonschema import Draft202012Validator

from sidecar.cli import main
from sidecar.cli.results.check_json import schema_text
from sidecar.delivery.measure.part import Part, Scope
from sidecar.delivery.measure.whole_file import measure
from sidecar.wave.bext import Claimed, new_bext
from sidecar.wave.cues import Marker, markers, time_reference

RATE_HZ = 48_000
LEVELS_DB = (-30.0, -23.0, -17.0)
"""Of three stretches of 4 s; a tone in phase on two channels reads its peak level (Tech 3341 §2.9)."""


def programme():
    t = np.arange(4 * RATE_HZ) / RATE_HZ
    tone = np.sin(2 * np.pi * 1000 * t)
    return np.concatenate([np.stack([10 ** (db / 20) * tone] * 2, axis=1) for db in LEVELS_DB])


def chunk(name, content):
    return struct.pack("<4sI", name, len(content)) + content + bytes(len(content) % 2)


def write(path, *, cues=(), labels=(), reference=None):
    """A WAV file; *cues*: frames in any order, *labels*: a name a cue, or None."""
    soundfile.write(path, programme(), RATE_HZ, "PCM_24")
    content = bytearray(path.read_bytes())
    extra = b""
    if reference is not None:
        bext = bytearray(new_bext(Claimed()))
        bext[338:346] = reference.to_bytes(8, "little")
        extra += chunk(b"bext", bytes(bext))
    if cues:
        points = b"".join(
            struct.pack("<II4sIII", k + 1, frame, b"data", 0, 0, frame) for k, frame in enumerate(cues)
        )
        extra += chunk(b"cue ", struct.pack("<I", len(cues)) + points)
        named = b"".join(
            chunk(b"labl", struct.pack("<I", k + 1) + name.encode() + b"\0")
            for k, name in enumerate(labels)
            if name
        )
        extra += chunk(b"LIST", b"adtl" + named)
    content[4:8] = (len(content) - 8 + len(extra)).to_bytes(4, "little")
    path.write_bytes(content + extra)


@pytest.fixture
def file(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "show.wav"
    write(path, cues=[8 * RATE_HZ, 4 * RATE_HZ], labels=["Song", None], reference=36_000 * RATE_HZ)
    return path


def checked(capsys, *arguments):
    code = main(["check", "--json", *arguments, "show.wav"])
    found = json.loads(capsys.readouterr().out)
    assert list(Draft202012Validator(json.loads(schema_text())).iter_errors(found)) == []
    return code, found


def test_markers_and_time_reference_are_read(file):
    assert markers(file) == (Marker(4 * RATE_HZ, "cue 2"), Marker(8 * RATE_HZ, "Song"))
    assert time_reference(file) == 36_000 * RATE_HZ


def test_a_file_without_them_has_none(tmp_path):
    write(tmp_path / "plain.wav")
    soundfile.write(tmp_path / "plain.flac", programme(), RATE_HZ)

    for name in ("plain.wav", "plain.flac"):
        assert markers(tmp_path / name) == ()
        assert time_reference(tmp_path / name) == 0


@pytest.mark.parametrize("name", ["cut.wav", "cut.flac", "cut.ogg", "cut.mp3"])
def test_a_part_measures_what_it_would_as_a_file_of_its_own(tmp_path, name):
    """To the last digit where an encoding is lossless; a lossy one is decoded first and cut then."""
    subtype = {"cut.ogg": "VORBIS", "cut.mp3": "MPEG_LAYER_III"}.get(name, "PCM_24" if "." in name else "")
    soundfile.write(tmp_path / name, programme(), RATE_HZ, subtype)
    decoded, _ = soundfile.read(tmp_path / name, dtype="float32")
    first, stop = 3 * RATE_HZ + 17, 9 * RATE_HZ + 5
    soundfile.write(tmp_path / "own.wav", decoded[first:stop], RATE_HZ, "FLOAT")
    part = measure(tmp_path / name, scope=Scope(Part("", first, stop)))
    own = measure(tmp_path / "own.wav", workers=1)

    assert part.reading.integrated == pytest.approx(own.reading.integrated, abs=1e-4)
    assert part.reading.loudness_range == pytest.approx(own.reading.loudness_range, abs=1e-4)
    assert part.reading.max_true_peak == pytest.approx(own.reading.max_true_peak, abs=1e-3)
    assert part.facts.frames == own.facts.frames == stop - first
    assert part.clock.start_s == first / RATE_HZ


@pytest.mark.parametrize(
    ("arguments", "reads"),
    [
        (("--to", "0:00:04.0"), -30.0),
        (("--from", "4", "--to", "8"), -23.0),
        (("--from", "0:08.0"), -17.0),
        (("--fps", "25", "--from", "10:00:04:00", "--to", "10:00:08:00"), -23.0),
        (("--fps", "29.97df", "--from", "10:00:08;00"), -17.0),
    ],
)
def test_from_and_to_measure_what_lies_between(file, capsys, arguments, reads):
    _, (found,) = checked(capsys, *arguments)

    assert found["integrated_lufs"] == pytest.approx(reads, abs=0.1)
    assert found["part"]["to_s"] - found["part"]["from_s"] == pytest.approx(4.0, abs=0.04)


def test_each_part_has_a_row_and_the_whole_decides(file, capsys):
    code, (whole, *parts) = checked(capsys, "--parts", "--goal", "aes-album")

    assert code == (0 if whole["passes"] else 1)
    assert "part" not in whole
    assert [part["part"]["name"] for part in parts] == ["before cue 2", "cue 2", "Song"]
    assert [part["integrated_lufs"] for part in parts] == pytest.approx(LEVELS_DB, abs=0.1)
    main(["check", "--parts", "show.wav"])
    shown = " ".join(capsys.readouterr().out.split())
    assert "[Song]" in shown


def test_places_are_told_in_timecode_from_the_file_s_own_reference(file, capsys):
    """The loudest is the third stretch: 10 h, and its 8 s and 2 frames of the block that holds the peak."""
    _, (found,) = checked(capsys, "--fps", "25", "--goal", "r128", "--goal", "r128-s1")
    sentences = [s for verdict in found["verdicts"] for s in verdict["findings"]]

    assert any("Short-term reaches" in s and " at 10:00:1" in s for s in sentences)
    _, (part,) = checked(capsys, "--fps", "25", "--from", "10:00:08:00")
    assert part["part"]["from"] == "10:00:08:00"


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--fps", "26"), "--fps 26: use one of 23.976, 24, 25"),
        (("--from", "10:00:00:00"), "give its frame rate, such as --fps 25"),
        (("--from", "soon"), "is no time in a file"),
        (("--from", "0:01:00.0"), "it reaches from 0:00:00.0 to 0:00:12.0"),
        (("--from", "8", "--to", "4"), "Nothing of show.wav lies from 8 to 4"),
        (("--fps", "25", "--from", "09:00:00:00"), "it reaches from 10:00:00:00 to 10:00:12:00"),
        (("--parts", "--from", "1"), "leave out --parts"),
        (("--archive", "a.sqlite", "--parts"), "--archive keeps whole files"),
    ],
)
def test_what_cannot_be_measured_is_said(file, capsys, arguments, said):
    code = main(["check", *arguments, "show.wav"])
    shown = capsys.readouterr()

    assert code == 2
    assert said in " ".join((shown.out + shown.err).split())
