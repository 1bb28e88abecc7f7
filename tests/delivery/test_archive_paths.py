"""Which sound files are meant by folders, patterns and lists."""

import io
import os

import pytest
import soundfile

from sidecar.delivery.batch.paths import SUFFIXES, listed, sound_files


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """Sound files and others, hidden ones, and links in a ring."""
    for path in ("b/2.WAV", "b/10.flac", "a/deep/x.aif", "a/notes.txt", "a/._x.aif", ".bin/y.wav", "[1].wav"):
        place = tmp_path / path
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_bytes(b"x")
    (tmp_path / "a" / "deep" / "up").symlink_to(tmp_path / "a")
    (tmp_path / "a" / "round.wav").symlink_to("round.wav")
    (tmp_path / "a" / "alias").symlink_to(tmp_path / "b")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def found(*names):
    return list(sound_files(names))


def test_a_folder_is_searched_in_order_and_each_folder_once(folder):
    """Whatever links make of it; hidden files and other kinds are passed over, a broken link is not."""
    assert found("b") == ["b/10.flac", "b/2.WAV"]
    assert found("a") == ["a/deep/x.aif", "a/round.wav", "a/alias/10.flac", "a/alias/2.WAV"]
    assert found(".") == ["./[1].wav", "./a/deep/x.aif", "./a/round.wav", "./b/10.flac", "./b/2.WAV"]


def test_a_pattern_stands_for_what_it_matches(folder):
    """In order; folders that it matches are searched; what is hidden stays so."""
    assert found("b/*") == ["b/10.flac", "b/2.WAV"]
    assert found("**/*.[af]*") == ["a/deep/x.aif", "b/10.flac"]
    assert found("**/***.[af]**") == ["a/deep/x.aif", "b/10.flac"]
    assert found("?")[:2] == ["a/deep/x.aif", "a/round.wav"]
    assert found(f"{folder}/**/2.*") == [f"{folder}/b/2.WAV"]


def test_every_other_name_stands_for_itself(folder):
    """A file whose name has brackets in it, one that is missing, a pattern that matches nothing."""
    assert found("[1].wav", "none.wav", "*.mp3") == ["[1].wav", "none.wav", "*.mp3"]


def test_a_folder_that_cannot_be_searched_stands_for_itself(folder, monkeypatch):
    """So that it is reported and not passed over; the others are searched."""
    search = os.scandir

    def refused(path):
        if str(path).endswith("deep"):
            raise PermissionError(13, "Permission denied")
        return search(path)

    monkeypatch.setattr(os, "scandir", refused)

    assert found("a") == ["a/deep", "a/round.wav", "a/alias/10.flac", "a/alias/2.WAV"]


def test_lists_are_read_line_by_line_or_between_zeros():
    """With either end of line, empty lines passed over, names that are no text kept as they are, and names
    that lie across what is read at a time whole."""
    names = [f"{number:05}/a b.wav" for number in range(10_000)]

    assert list(listed(io.BytesIO(b"a.wav\r\n\nb c.wav\nd\xff.wav"), b"\n")) == [
        "a.wav",
        "b c.wav",
        "d\udcff.wav",
    ]
    assert list(listed(io.BytesIO(b"a\nb.wav\0c.wav\0"), b"\0")) == ["a\nb.wav", "c.wav"]
    assert names == list(listed(io.BytesIO("\n".join(names).encode()), b"\n"))


def test_what_libsndfile_writes_is_looked_for():
    """Each of its formats by the name that it goes by; raw samples and number files are left out."""
    usual = {"WAVEX": "wav", "IRCAM": "sf", "MPC2K": "mpc"}
    formats = set(soundfile.available_formats()) - {"RAW", "MAT4", "MAT5"}

    assert {f".{usual.get(name, name).lower()}" for name in formats} - SUFFIXES == set()
