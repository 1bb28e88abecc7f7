import os
import subprocess
import sys
from threading import Timer

import numpy as np
import pytest
from rich.console import Console

from sidecar.cli.terminal.first_run import compiling_is_said
from sidecar.native import compiler, kept, kernels
from sidecar.native.kernels import Kernel, compiling_reported, is_kept, kernel, part
from sidecar.native.lanes import lanes, put_lanes
from sidecar.native.machine_code import NotLoadable, ObjectCode
from sidecar.storage.atomic_file import try_lock


@part(fastmath={"contract"})
def doubled(x):
    return x + x


def halved(x, by):
    return x // by


def add_up(rows, pair, start, gain, factor):
    """Takes each kind of argument that there is, and returns a number of either kind."""
    integers, floats = pair
    total = factor * start
    for c in range(rows.shape[0]):
        for i in range(rows.shape[1]):
            total += rows[c, i] * gain
    for i in range(integers.size):
        floats[i] = doubled(integers[i])
    return integers.size, total


@pytest.fixture(autouse=True)
def folder(tmp_path, monkeypatch):
    """Where kernels are kept in these tests."""
    monkeypatch.setattr(kernels, "_kernels", [])
    monkeypatch.setattr(kept, "_installation", lambda: tmp_path / "kept")
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    monkeypatch.setattr("sys.platform", "linux")
    return tmp_path / "kept"


def run(function, rows):
    """What the function makes of the rows and of arguments of all other kinds."""
    floats = np.zeros(3)
    returned = function(rows, (np.arange(3), floats), 2, np.float32(0.5), 10.0)
    return (*returned, floats.tolist())


def compiled_by(function, *arguments):
    """What it returns, and how many kernels were compiled for that."""
    compiled = []
    with compiling_reported(lambda at, _of: compiled.append(at)):
        returned = function(*arguments)
    return returned, len(compiled)


ROWS = np.arange(12.0).reshape(3, 4)


def test_machine_code_returns_what_the_function_returns():
    """Whatever the arrays are like: another order, only every second column, read-only, single precision."""
    read_only = ROWS.copy()
    read_only.flags.writeable = False
    fast = kernel(add_up)
    for rows in (ROWS, ROWS.T, ROWS[:, ::2], read_only, ROWS.astype(np.float32)):
        assert run(fast, rows) == run(add_up, rows)


def test_one_column_and_one_row_are_measured_by_the_code_of_many():
    """They are in C and in Fortran order at once; a mono file does not compile the meter a second time."""
    add = kernel(add_up)
    compiled_by(run, add, ROWS)

    of_column, of_row = compiled_by(run, add, ROWS[:, :1].copy()), compiled_by(run, add, ROWS[:1].copy())

    assert of_column == (run(add_up, ROWS[:, :1]), 0)
    assert of_row == (run(add_up, ROWS[:1]), 0)


def test_rows_in_another_order_have_code_of_their_own():
    add = kernel(add_up)
    compiled_by(run, add, ROWS)

    assert compiled_by(run, add, np.asfortranarray(ROWS)) == (run(add_up, ROWS), 1)
    assert compiled_by(run, add, ROWS[:, ::2]) == (run(add_up, ROWS[:, ::2]), 1)


def mix_lanes(rows, two, gain):
    """Each operation on lanes: of two of them, and of lanes and a number."""
    pair = rows[0], rows[1]
    for i in range(rows.shape[1]):
        mixed = gain * lanes(pair, i) - lanes(pair, 0) * lanes(pair, i) + gain
        put_lanes(mixed - gain * lanes(two, i), two, i)


@pytest.mark.parametrize("kind", [np.float32, np.float64])
def test_lanes_give_what_arrays_give(kind):
    made = []
    for function in (mix_lanes, kernel(mix_lanes)):
        two = np.ones(4), np.arange(4.0)
        function(ROWS.astype(kind), two, 0.5)
        made.append(np.stack(two).tolist())

    assert made[0] == made[1]


def test_what_is_kept_is_loaded_and_what_is_damaged_compiled_again(folder, monkeypatch):
    compiled_first = compiled_by(run, Kernel(add_up), ROWS)
    loaded = compiled_by(run, Kernel(add_up), ROWS)
    (file,) = folder.iterdir()
    whole = file.read_bytes()
    file.write_bytes(whole[:-1])
    after_damage = compiled_by(run, Kernel(add_up), ROWS)
    mended = file.read_bytes()
    monkeypatch.setattr(kept, "_compiler_version", lambda: "another")
    kept.stamp.cache_clear()
    newer = compiled_by(run, Kernel(add_up), ROWS)
    kept.stamp.cache_clear()

    expected = run(add_up, ROWS)
    assert [compiled_first, loaded, after_damage, newer] == [(expected, n) for n in (1, 0, 1, 1)]
    assert len(mended) == len(whole)
    assert is_kept(Kernel(add_up))
    assert not is_kept(Kernel(doubled.function))


@pytest.mark.parametrize("fails_at", ["load", "signature"])
def test_the_compiler_runs_what_cannot_be_loaded(folder, monkeypatch, fails_at):
    def refuse(*_):
        raise NotLoadable("as on another system")

    if fails_at == "load":
        monkeypatch.setattr(kernels, "load", refuse)
    else:
        monkeypatch.setattr(compiler, "leaves", lambda _arguments: [0])
    fast = kernel(add_up)

    assert run(fast, ROWS) == run(add_up, ROWS)
    assert run(fast, ROWS.astype(np.float32)) == run(add_up, ROWS)
    assert not list(folder.iterdir())


def test_what_another_process_compiles_is_waited_for_and_loaded(folder, monkeypatch):
    expected = run(Kernel(add_up), ROWS)
    (file,) = folder.iterdir()
    code = file.read_bytes()
    file.unlink()
    other = os.open(folder / f"{file.name}.claim", os.O_RDWR | os.O_CREAT)
    assert try_lock(other)

    def finish():
        file.write_bytes(code)
        os.close(other)

    monkeypatch.setattr(compiler, "compiled", lambda *_: pytest.fail("it is compiled twice"))
    with compiling_reported(lambda _at, _of: Timer(0.05, finish).start()):
        assert run(Kernel(add_up), ROWS) == expected

    assert list(folder.iterdir()) == [file]


def test_a_kernel_says_what_it_does_not_take_and_where_it_fails():
    fast = kernel(halved)
    with pytest.raises(TypeError, match="not str"):
        fast("2", 1)
    with pytest.raises(TypeError, match="not by by name"):
        fast(2, by=1)
    with pytest.raises(RuntimeError, match="divides by zero"):
        fast(2, 0)


def test_each_kernel_that_is_compiled_is_said_with_its_number(capsys):
    first, second = kernel(doubled.function), kernel(halved)
    with compiling_is_said(Console(stderr=True)):
        assert (first(1), second(1, 2), first(2)) == (2, 0, 4)

    assert capsys.readouterr().err.splitlines() == [
        "Compiling the meter, once on this machine: 1 of 2.",
        "Compiling the meter, once on this machine: 2 of 2.",
    ]


@pytest.fixture
def unwritable(tmp_path, monkeypatch):
    """An installation, and a home, in which no file can be made, for root neither."""
    (tmp_path / "file").touch()
    monkeypatch.setattr(kept, "_installation", lambda: tmp_path / "file" / "__pycache__")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "file" / "cache"))


CODE = ObjectCode("q", "q", False, (), b"object")


def written_below(folder):
    kept.write("f", "i8", "stamp", CODE)
    found = kept.read("f", "i8", "stamp")
    return found, sorted({path.parent.relative_to(folder).as_posix() for path in folder.rglob("*.kernel")})


def test_kernels_are_kept_with_the_installation_else_in_the_home(tmp_path, monkeypatch, unwritable):
    with monkeypatch.context() as changed:
        changed.setattr(kept, "_installation", lambda: tmp_path / "installed")
        assert written_below(tmp_path) == (CODE, ["installed"])
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "home"))
    assert written_below(tmp_path) == (CODE, ["home/loudness-sidecar/kernels", "installed"])


@pytest.mark.skipif(not hasattr(os, "getuid"), reason="there are no such permissions")
def test_a_temporary_folder_is_closed_to_others_and_only_then_trusted(tmp_path, unwritable):
    """Code is loaded from it."""
    own = f"loudness-sidecar-{os.getuid()}"
    assert written_below(tmp_path) == (CODE, [own])
    assert (tmp_path / own).stat().st_mode & 0o777 == 0o700

    (tmp_path / own).chmod(0o777)
    assert written_below(tmp_path) == (None, [own])
    (tmp_path / own).rename(tmp_path / "elsewhere")
    (tmp_path / own).symlink_to(tmp_path / "elsewhere")
    assert written_below(tmp_path)[0] is None


MEASURING = """
import sys
from sidecar.cli.terminal.compile_beside import compile_facts
from sidecar.run.metering import Metering
Metering(48_000, 2, None)
compile_facts()
print("numba" in sys.modules)
"""


def test_what_was_compiled_before_is_measured_with_by_a_process_without_the_compiler():
    """A kernel that needs a function of the compiler's own would be compiled by each process anew."""
    first, second = (
        subprocess.run(
            [sys.executable, "-c", MEASURING], capture_output=True, text=True, timeout=120, check=True
        )
        for _ in range(2)
    )

    assert (first.stderr, second.stderr) == ("", "")
    assert second.stdout == "False\n"
