"""Files that are old or new, whole, whatever happens while they are written."""

import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from sidecar.storage.atomic_file import replacing, write_whole


def names(folder):
    return sorted(entry.name for entry in folder.iterdir())


def test_a_new_file_has_the_permissions_that_the_mask_leaves(tmp_path):
    before = os.umask(0o027)
    try:
        write_whole(tmp_path / "new.html", b"page")
    finally:
        os.umask(before)

    assert stat.S_IMODE((tmp_path / "new.html").stat().st_mode) == 0o640


def test_a_file_that_is_replaced_keeps_its_permissions(tmp_path):
    target = tmp_path / "kept.csv"
    target.write_bytes(b"old")
    target.chmod(0o604)
    write_whole(target, b"new")

    assert (target.read_bytes(), stat.S_IMODE(target.stat().st_mode)) == (b"new", 0o604)


def test_a_link_stays_a_link_and_what_it_leads_to_is_replaced(tmp_path):
    (tmp_path / "shelf").mkdir()
    (tmp_path / "link.csv").symlink_to(tmp_path / "shelf" / "real.csv")
    write_whole(tmp_path / "link.csv", b"new")

    assert (tmp_path / "link.csv").is_symlink()
    assert (tmp_path / "shelf" / "real.csv").read_bytes() == b"new"


def test_a_device_is_written_into_and_not_replaced():
    write_whole(Path(os.devnull), b"nothing")

    assert stat.S_ISCHR(Path(os.devnull).stat().st_mode)


def test_an_error_in_between_leaves_the_old_file_and_nothing_else(tmp_path):
    target = tmp_path / "page.html"
    target.write_bytes(b"old")
    with pytest.raises(ZeroDivisionError), replacing(target) as part:
        part.write_bytes(b"half")
        raise ZeroDivisionError

    assert (names(tmp_path), target.read_bytes()) == (["page.html"], b"old")


def test_what_a_killed_run_left_is_removed_by_the_next(tmp_path):
    target = tmp_path / "page [1].html"
    code = (
        "import os, signal, sys; from pathlib import Path\n"
        "from sidecar.storage.atomic_file import replacing\n"
        "with replacing(Path(sys.argv[1])): os.kill(os.getpid(), signal.SIGKILL)"
    )
    killed = subprocess.run([sys.executable, "-c", code, target], check=False)
    assert killed.returncode == -9
    assert len(names(tmp_path)) == 1
    write_whole(target, b"new")

    assert names(tmp_path) == ["page [1].html"]


def test_two_runs_that_write_the_same_file_do_not_take_each_others_part(tmp_path):
    target = tmp_path / "page.html"
    with replacing(target) as first:
        first.write_bytes(b"first")
        write_whole(target, b"second")
        assert target.read_bytes() == b"second"

    assert (names(tmp_path), target.read_bytes()) == (["page.html"], b"first")


def test_a_name_as_long_as_names_can_be_is_written(tmp_path):
    """255 bytes (NAME_MAX of Linux): the part beside it has a shorter one."""
    target = tmp_path / ("ä" * 125 + ".html")
    write_whole(target, b"new")

    assert names(tmp_path) == [target.name]
