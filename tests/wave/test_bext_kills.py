"""A stamp that is killed leaves a file that is old or new, whole: killed for real, at every stage."""

import json
import os
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest
from killed_stamps import CLAIMED
from wave_files import CUE, FMT, IXML, JUNK_FOR_DS64, LIST, bext, pcm_24, riff, taken_apart

from sidecar.errors import SourceError
from sidecar.wave import patch as in_place
from sidecar.wave.bext import read_loudness
from sidecar.wave.bext_write import prepare, stamp
from sidecar.wave.patch import change_in_place, lock, put_right

KILLED_STAMPS = Path(__file__).with_name("killed_stamps.py")
KILLS = 50
DATA = (b"data", pcm_24(0.1))
FILES = {
    "in place": riff(JUNK_FOR_DS64, (b"bext", bext()), (b"fmt ", FMT), IXML, DATA, LIST),
    "filler": riff((b"fmt ", FMT), (b"JUNK", bytes(2000)), IXML, DATA, LIST),
    "copied": riff((b"fmt ", FMT), CUE, IXML, DATA, LIST),
}


def others(content):
    """What a stamp must not change."""
    return [part for part in taken_apart(content) if part[0] not in {b"bext", b"JUNK"}]


@pytest.mark.slow
@pytest.mark.parametrize("original", FILES.values(), ids=FILES)
def test_fifty_kills_leave_fifty_whole_files(tmp_path, original):
    """Killed at fifty lines from the first to the last: each file is old or new, and the next stamp works."""
    source, folder = tmp_path / "original.wav", tmp_path / "copies"
    source.write_bytes(original)
    folder.mkdir()
    said = subprocess.run(
        [sys.executable, KILLED_STAMPS, source, folder, str(KILLS)],
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    new = (folder / "all.wav").read_bytes()
    found = {(folder / f"{kill:03}.wav").read_bytes() for kill in range(KILLS)}

    assert said.stdout == f"{KILLS} killed\n"
    assert {original, new} == found
    assert others(original) == others(new)
    for kill in range(KILLS):
        path = folder / f"{kill:03}.wav"
        stamp(path, CLAIMED, prepare(path))
        assert new == path.read_bytes()
    assert len(list(folder.iterdir())) == KILLS + 1, "journals or unfinished copies were left behind"


@pytest.mark.parametrize("delay_ms", range(0, 40, 4))
def test_kills_by_the_clock_while_a_larger_file_is_copied(tmp_path, delay_ms):
    """Killed from outside, milliseconds after it began: wherever that hits, the file is old or new."""
    original = riff((b"fmt ", FMT), IXML, (b"data", pcm_24(0.1) * 400), LIST)
    path = tmp_path / "mix.wav"
    path.write_bytes(original)
    code = (
        "import sys; from pathlib import Path; from killed_stamps import CLAIMED, prepare, stamp\n"
        "path = Path(sys.argv[1]); seen = prepare(path); print('ready', flush=True)\n"
        "stamp(path, CLAIMED, seen)"
    )
    child = subprocess.Popen(
        [sys.executable, "-c", code, path], stdout=subprocess.PIPE, text=True, cwd=KILLED_STAMPS.parent
    )
    assert child.stdout is not None
    assert child.stdout.readline() == "ready\n"
    try:
        child.wait(delay_ms / 1000.0)
    except subprocess.TimeoutExpired:
        child.kill()
    child.communicate()

    content = path.read_bytes()
    assert others(original) == others(content)
    assert content == original or read_loudness(path) == CLAIMED


def torn(tmp_path, keep_new):
    """A file whose change in place got half way, as when the power goes: the journal is there."""
    path = tmp_path / "mix.wav"
    path.write_bytes(FILES["in place"])

    class PowerFailure(Exception):
        pass

    def fail(*_):
        raise PowerFailure

    with pytest.MonkeyPatch.context() as patch, path.open("r+b") as file:
        patch.setattr("sidecar.wave.patch._overwrite", fail)
        with pytest.raises(PowerFailure):
            change_in_place(file, path, 100, b"0123456789")
        file.seek(100)
        file.write(b"0123456789"[:keep_new])
    return path


@pytest.mark.parametrize("written", [0, 1, 5, 9])
def test_a_half_written_change_is_taken_back(tmp_path, written):
    """Nothing is read from such a file until it has been put right."""
    path = torn(tmp_path, written)
    with pytest.raises(SourceError, match="interrupted"):
        read_loudness(path)
    with path.open("r+b") as file:
        put_right(file, path)

    assert FILES["in place"] == path.read_bytes()
    assert [entry.name for entry in path.parent.iterdir()] == ["mix.wav"]


def test_a_change_that_was_complete_is_kept(tmp_path):
    """Only the journal had not been removed yet."""
    path = torn(tmp_path, 10)
    with path.open("r+b") as file:
        put_right(file, path)

    assert path.read_bytes()[100:110] == b"0123456789"


def test_a_file_that_took_the_place_of_a_torn_one_is_left_alone(tmp_path):
    """Exported anew after the power came back: an old journal must not write into it."""
    path = torn(tmp_path, 5)
    other = b"x" * len(FILES["in place"])
    path.write_bytes(other)
    with path.open("r+b") as file:
        put_right(file, path)

    assert other == path.read_bytes()
    assert [entry.name for entry in path.parent.iterdir()] == ["mix.wav"]


@pytest.mark.parametrize("length", [0, 1, 60, 200])
def test_a_journal_that_was_cut_off_itself_changes_nothing(tmp_path, length):
    """It was written first: the file had not been touched yet."""
    path = torn(tmp_path, 0)
    (journal,) = tmp_path.glob(".*")
    journal.write_bytes(journal.read_bytes()[:length])
    with path.open("r+b") as file:
        put_right(file, path)

    assert FILES["in place"] == path.read_bytes()
    assert not journal.exists()


def test_a_half_written_change_of_a_file_that_was_exported_anew_is_left_alone(tmp_path):
    """Same name and size, and what is at the place of the change looks half written: another file."""
    path = torn(tmp_path, 5)
    other = bytearray(path.read_bytes())
    other[-1] ^= 1
    path.write_bytes(other)
    with path.open("r+b") as file:
        put_right(file, path)

    assert path.read_bytes() == other


def test_a_forged_journal_changes_nothing(tmp_path):
    """It fits the file's size and the bytes that are there, and would write what its maker likes."""
    path = tmp_path / "mix.wav"
    path.write_bytes(FILES["in place"])
    now = FILES["in place"][:4]
    forged = {"file_size": len(FILES["in place"]), "place": 0, "checksum": "0" * 64}
    forged["new"] = bytes((now[0], now[1], now[2], now[3] ^ 1)).hex()
    forged["old"] = bytes((0, 0, 0, now[3])).hex()
    (tmp_path / ".mix.wav.sidecar-undo").write_text(json.dumps(forged))
    prepare(path)

    assert path.read_bytes() == FILES["in place"]


@pytest.mark.parametrize("make", [Path.symlink_to, Path.hardlink_to], ids=["symbolic", "hard"])
def test_a_link_in_the_place_of_a_journal_is_neither_written_nor_believed(tmp_path, make):
    path, precious, link = (tmp_path / name for name in ("mix.wav", "precious", ".mix.wav.sidecar-undo"))
    path.write_bytes(FILES["in place"])
    precious.write_text("precious")
    make(link, precious)
    with path.open("r+b") as file:
        for attempt in (
            lambda: change_in_place(file, path, 100, b"0123456789"),
            lambda: put_right(file, path),
        ):
            with pytest.raises(SourceError, match=r"none that sidecar stamp made.*remove it"):
                attempt()

    assert precious.read_text() == "precious"
    assert path.read_bytes() == FILES["in place"]


def test_a_journal_of_another_user_is_not_believed(tmp_path, monkeypatch):
    """Unless the file is theirs: they could have written into it themselves."""
    torn(tmp_path, 5)
    (journal,) = tmp_path.glob(".*")
    maker = journal.stat().st_uid
    monkeypatch.setattr(os, "geteuid", lambda: maker + 1)

    assert b"file_size" in in_place._read_own(journal, SimpleNamespace(st_uid=maker))
    with pytest.raises(SourceError, match="none that sidecar stamp made"):
        in_place._read_own(journal, SimpleNamespace(st_uid=maker + 2))


def test_two_at_once_do_not_meet(tmp_path):
    """The second is refused while the first holds the file."""
    path = tmp_path / "mix.wav"
    path.write_bytes(FILES["copied"])
    with path.open("r+b") as file:
        lock(file)
        with pytest.raises(SourceError, match="another sidecar writes to it"):
            prepare(path)
