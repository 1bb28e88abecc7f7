"""Where the copies of a set go."""

from pathlib import Path, PurePath

import pytest

from sidecar.delivery.match.copy_places import copy_places


@pytest.fixture
def out(tmp_path):
    (tmp_path / "out").mkdir()
    return tmp_path / "out"


def places(files, out, *, below=None, kept=(), may_replace=False):
    return copy_places(files, below or [PurePath(file.name) for file in files], out, kept, may_replace)


def test_copies_never_go_onto_an_original(tmp_path, out):
    """By its own name, through a link in either direction, or as the reference of the match."""
    for name in ("a.wav", "b.wav", "c.wav", "d.wav", "reference.wav"):
        (tmp_path / name).write_bytes(name.encode())
    files = [tmp_path / name for name in ("a.wav", "b.wav", "c.wav")]
    (out / "a.wav").symlink_to(tmp_path / "b.wav")
    (out / "b.wav").hardlink_to(tmp_path / "a.wav")
    (out / "c.wav").symlink_to(tmp_path / "reference.wav")
    (tmp_path / "same").symlink_to(tmp_path)
    kept = [*files, tmp_path / "reference.wav"]

    for folder in (out, tmp_path, tmp_path / "same"):
        for refused in places(files, folder, kept=kept, may_replace=True):
            assert "is an original" in str(refused)


def test_earlier_copies_are_replaced_only_on_request(tmp_path, out):
    (out / "b.wav").write_bytes(b"earlier")
    (refused,) = places([tmp_path / "b.wav"], out)

    assert "--replace" in str(refused)
    assert places([tmp_path / "b.wav"], out, may_replace=True) == [out / "b.wav"]


def test_files_of_one_name_are_both_written_below_the_folders_that_tell_them_apart(tmp_path, out):
    files = [tmp_path / "one/a.wav", tmp_path / "two/A.wav", tmp_path / "b.wav", tmp_path / "two/a.wav"]

    assert places(files, out) == [out / "one/a.wav", out / "A.wav", out / "b.wav", out / "two/a.wav"]


def test_places_below_a_searched_folder_are_kept(tmp_path, out):
    files = [tmp_path / "album/cd1/a.wav", tmp_path / "album/cd2/a.wav"]
    below = [PurePath("cd1/a.wav"), PurePath("cd2/a.wav")]

    assert places(files, out, below=below) == [out / "cd1/a.wav", out / "cd2/a.wav"]


@pytest.mark.parametrize("first", ["../x/a.wav", "/x/a.wav"])
def test_no_copy_leaves_its_folder(out, first):
    found = places([Path(first), Path("y/a.wav")], out)

    assert found == [out / "x/a.wav", out / "y/a.wav"]


def test_two_copies_that_cannot_be_told_apart_are_refused(tmp_path, out):
    """The same name in two spellings that some file systems take for one."""
    one, other = places([Path("x/a.wav"), Path("X/a.wav")], out)

    assert one == out / "x/a.wav"
    assert "Rename one of the two files" in str(other)
