"""``sidecar check`` over a whole archive: everything measured once, everything broken listed."""

import io
import json
import os
import signal
import sqlite3
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator
from made_archive import LOUD, made_archive
from rich.console import Console

from sidecar.cli import main
from sidecar.cli.results.archive_board import Board, _table
from sidecar.cli.results.check_json import schema_text
from sidecar.delivery.batch.store import Due
from sidecar.delivery.batch.work import Kept
from sidecar.delivery.judge.checking import Unread
from sidecar.wave.file_identity import FileIdentity

FILES = 120
RUN = [sys.executable, "-m", "sidecar", "check", "--archive", "kept.sqlite"]


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def checked(capsys, *arguments):
    code = main(["check", *arguments])
    return code, capsys.readouterr().out


def measurements(folder):
    """How often each file was measured, from the record itself."""
    connection = sqlite3.connect(folder / "kept.sqlite")
    try:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        rows = connection.execute("SELECT path, measurements FROM files").fetchall()
    finally:
        connection.close()
    return {os.path.relpath(os.fsdecode(path), folder): count for path, count in rows}


def is_readable(broken, name):
    """Samples that are no numbers are read all the same."""
    return name not in broken or "no numbers" in broken[name]


@pytest.mark.slow
def test_all_that_is_good_is_measured_and_all_that_is_broken_is_told(folder, capsys):
    """Twelve kinds of good files, eleven ways to be broken, all in one folder; the printed array is the one
    of a check that keeps nothing, and what is measured is on the target to which it was made."""
    files = 60
    broken = made_archive(folder / "masters", files, every=5)
    broken = {os.path.relpath(path, folder): said for path, said in broken.items()}
    code, said = checked(capsys, "--archive", "kept.sqlite", "--json", "masters")
    told = {outcome["file"]: outcome for outcome in json.loads(said)}

    assert (code, len(told)) == (2, files)
    assert list(Draft202012Validator(json.loads(schema_text())).iter_errors(json.loads(said))) == []
    for name, expected in broken.items():
        assert expected in told[name].get("error", " ".join(told[name].get("findings", ()))), name
    assert {n for n in broken if not is_readable(broken, n)} == {n for n in told if "error" in told[n]}
    for name in told.keys() - broken.keys():
        target = -17.0 if int(Path(name).stem) % LOUD == 1 else -23.0
        coded = 0.2 if name.endswith(("mp3", "ogg")) else 0.1
        assert target == pytest.approx(told[name]["integrated_lufs"], abs=coded), name
    assert {name: int(is_readable(broken, name)) for name in told} == measurements(folder)

    _, shown = checked(capsys, "--archive", "kept.sqlite", "masters")
    assert all(Path(name).name in shown and said in shown for name, said in broken.items())
    assert shown.splitlines(keepends=True)[-1] == f"{files} files: 42 pass, 7 fail, 11 could not be read.\n"

    _, plain = checked(capsys, "--json", *told)
    absolute = str(folder / "masters")
    assert plain == said.replace(absolute, "masters")


@pytest.mark.slow
def test_a_second_run_measures_what_changed_and_judges_all_anew(folder, capsys):
    """Against any goal, by what is on record."""
    made_archive(folder / "masters", 12, every=100)
    (folder / "masters" / "0" / "00000.wav").unlink()
    arguments = ("--archive", "kept.sqlite", "--jobs", "1", "masters")
    assert checked(capsys, *arguments)[0] == 1
    os.utime(folder / "masters" / "1" / "00003.wav")
    code, said = checked(capsys, *arguments, "--goal", "premaster", "--goal", "r128", "--json")
    counts = measurements(folder)

    assert code == 1
    assert {name: count for name, count in counts.items() if count != 1} == {"masters/1/00003.wav": 2}
    assert {tuple(verdict["goal"] for verdict in outcome["verdicts"]) for outcome in json.loads(said)} == {
        ("premaster", "r128")
    }
    assert {
        outcome["file"]: outcome["since_last_run"]
        for outcome in json.loads(said)
        if "since_last_run" in outcome
    } == {"masters/1/00003.wav": "changed"}
    third = checked(capsys, *arguments[:2], "--goal", "premaster", "--goal", "r128", "--json")[1]
    assert said.replace('\n  "since_last_run": "changed"', "").replace("],\n }", "]\n }") == third.replace(
        str(folder) + "/", ""
    )
    assert counts == measurements(folder)


def wait_for_commits(process, log, count):
    """Until so many commits were seen, or the process has ended."""
    seen = set()
    for _ in range(60_000):
        if len(seen) >= count or process.poll() is not None:
            return
        if log.exists():
            seen.add(log.stat().st_mtime_ns)
        try:
            process.wait(0.002)
        except subprocess.TimeoutExpired:
            continue
    raise AssertionError("nothing was written for two minutes")


def assert_gone(group):
    """No process of it is left, before long."""
    moment = threading.Event()
    for _ in range(600):
        try:
            os.killpg(group, 0)
        except ProcessLookupError:
            return
        moment.wait(0.05)
    raise AssertionError("a process was left running")


@pytest.mark.slow
def test_kills_at_any_moment_and_each_file_is_measured_once(folder):
    """A real kill, twice, after a few files and after more; what was printed before it stays."""
    made_archive(folder / "masters", FILES, every=1000)
    kept = [0]
    for commits in (8, 30):
        process = subprocess.Popen([*RUN, "masters"], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        wait_for_commits(process, folder / "kept.sqlite-wal", commits)
        process.kill()
        process.wait()
        kept.append(sum(measurements(folder).values()))
    done = subprocess.run([*RUN, "masters"], check=False, capture_output=True, text=True, timeout=120)
    counts = measurements(folder)

    assert kept == sorted(set(kept)), "no run went on with what another had kept"
    assert 0 < kept[1] < kept[-1] < FILES
    assert (len(counts), set(counts.values())) == (FILES, {0, 1})
    assert [name for name, count in counts.items() if count == 0] == ["masters/0/00000.wav"]
    assert done.returncode == 2
    assert all(" files; " in line for line in done.stderr.splitlines()), "only progress, on a slow machine"


@pytest.mark.slow
def test_who_interrupts_is_told_how_to_go_on(folder):
    """Exit code 130, one sentence, nothing left running, no traceback of any process."""
    made_archive(folder / "masters", FILES, every=1000)
    process = subprocess.Popen(
        [*RUN, "masters"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, process_group=0
    )
    wait_for_commits(process, folder / "kept.sqlite-wal", 5)
    os.killpg(process.pid, signal.SIGINT)
    said, complaint = process.communicate(timeout=60)

    assert (process.returncode, said) == (130, "")
    assert complaint == "Interrupted. The results so far are kept. The same command continues.\n"
    assert 0 < sum(measurements(folder).values()) < FILES
    assert_gone(process.pid)


@pytest.mark.slow
def test_pages_are_written_of_files_that_fail(folder, capsys):
    """The index says how many there are in all, and lists what could not be read."""
    broken = made_archive(folder / "masters", 22, every=20)
    code, said = checked(capsys, "--archive", "kept.sqlite", "--report", "r.html", "masters")
    index = (folder / "r.html").read_text(encoding="utf-8")

    assert code == 2
    assert "Written: r.html\n" in said
    assert sorted(path.name for path in (folder / "r").iterdir()) == [
        "00001.wav.html",
        "00011.rf64.html",
        "00021.w64.html",
    ]
    assert all(Path(name).name in index for name in broken)
    assert "17 of 22 meet every goal; 2 could not be read" in index
    assert "00002" not in index


@pytest.mark.slow
def test_the_index_is_written_whether_one_fails_or_none(folder, capsys):
    """So that no page of an earlier run is taken for this one's."""
    made_archive(folder / "masters", 4, every=100)
    (folder / "masters" / "0" / "00000.wav").unlink()
    kept = ("--archive", "kept.sqlite", "--report")
    assert checked(capsys, *kept, "one.html", "masters")[0] == 1
    assert checked(capsys, *kept, "none.html", "--goal", "aes-album", "masters")[0] == 0
    one, none = ((folder / name).read_text(encoding="utf-8") for name in ("one.html", "none.html"))

    assert "2 of 3 meet every goal" in one
    assert 'href="one/00001.wav.html"' in one
    assert "3 of 3 meet every goal" in none
    assert not (folder / "none").exists()


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--cluster", "127.0.0.1:9", "masters"), "--cluster needs an archive"),
        (("--list", "none.txt"), "--list none.txt cannot be read: No such file"),
        (("masters",), "No sound file found"),
        (("--archive", "kept.sqlite", "masters"), "No sound file found"),
        (("--archive", "kept.sqlite"), "No sound file found"),
        (("--archive", "none/kept.sqlite", "masters"), "there is no folder none"),
        (("--archive", "kept.sqlite", "--report", "r.txt", "masters"), "must end in .html"),
    ],
)
def test_what_cannot_be_done_is_said(folder, capsys, arguments, said):
    """Exit code 2 and one sentence."""
    (folder / "masters").mkdir()

    assert main(["check", *arguments]) == 2
    assert said in capsys.readouterr().err


def test_lists_come_on_the_input(folder, capsys, monkeypatch):
    """Each path once, in their order; a folder in a list is no file, nor is a pipe."""
    made_archive(folder / "masters", 4, every=100)
    os.mkfifo(folder / "pipe.wav")
    names = ["masters/1/00003.wav", "pipe.wav", "masters", "masters/1/00001.wav", "masters/1/00003.wav"]
    for option, separator in (("-", "\n"), ("-0", "\0")):
        monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(separator.join(names).encode())))
        code, said = checked(capsys, "--json", option, "-")
        assert (2, names[:-1]) == (code, [outcome["file"] for outcome in json.loads(said)])


def kept(seconds, size, passes=True):
    return Kept("a.wav", FileIdentity(1, size, 3, 4), seconds, -23.0, -3.0, "", b"", passes)


def test_where_nobody_watches_there_is_a_line_each_ten_seconds(capsys):
    """Done, rate, verdicts, and the time left by the bytes that are left."""
    now = [0.0]
    with Board(Due(4, 4000), lambda: now[0]) as board:
        for second, result in enumerate((kept(600.0, 500), Unread("b.wav", "?"), kept(600.0, 500, False))):
            now[0] = second * 4.0
            board.draw_progress([], result)
        now[0] = 10.0
        board.draw_progress([], None)
        board.draw_progress([], None)

    assert (
        capsys.readouterr().err
        == "3 of 4 files; 0.3 files/s, 120 × real time; 1 pass, 1 fail, 1 unreadable; 0:00:30 left\n"
    )


def test_the_table_says_what_is_being_measured(folder):
    """Within 60 columns, with a name that would steer the terminal made harmless."""
    board = Board(Due(2000, 4000), lambda: 0.0)
    board.progress.add(kept(600.0, 1000))
    console = Console(width=60, file=io.StringIO(), force_terminal=False)
    console.print(
        _table(board.progress, board.progress.words(10.0), ["/x/\x1b[2Jloud.wav", "/x/" + "l" * 99])
    )
    lines = console.file.getvalue().splitlines()

    assert max(map(len, lines)) <= 60
    assert [line.split()[0] for line in lines if line.split()[:1] and line.split()[0].isalpha()] == [
        "done",
        "rate",
        "verdicts",
        "time",
        "measuring",
        "measuring",
    ]
    assert "\N{REPLACEMENT CHARACTER}[2Jloud.wav" in lines[-3] + lines[-2] + lines[-1]
    assert any("0:00:30 left" in line for line in lines)
