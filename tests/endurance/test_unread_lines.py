"""A script that starts a run and does not read what it prints."""

import fcntl
import os
import signal
import subprocess
import sys
import time

import pytest
from starved import heard_on, playing_numbers

from sidecar.journal import reader

pytestmark = pytest.mark.slow


LIMIT_S = 120.0


def test_who_does_not_read_the_lines_holds_nobody_up(loopback, tmp_path):
    """A pipe of 4 kB is full at once: measuring goes on, nothing is lost, and SIGTERM ends the run."""
    loopback.down()
    loopback.up(channels=2)
    tape = tmp_path / "heard.wav"
    unread, written = os.pipe()
    fcntl.fcntl(written, fcntl.F_SETPIPE_SZ, 4096)
    with playing_numbers(120):
        run = subprocess.Popen(
            [
                *(sys.executable, "-m", "sidecar", "live", "--device", "loopback", "--write", str(tape)),
                *("--no-screen", "--json", "--osc-port", "0"),
            ],
            stdout=written,
            stderr=subprocess.PIPE,
            text=True,
        )
        os.close(written)
        first = os.read(unread, 100)
        wait_until(lambda: kept_blocks() > 60)
        run.send_signal(signal.SIGTERM)
        _, errors = run.communicate(timeout=LIMIT_S)
    os.close(unread)
    [kept] = reader.passes()
    heard = heard_on(tape)

    assert first.startswith(b'{"type": "reading"')
    assert (run.returncode, errors) == (0, "")
    assert kept.ended is not None
    assert (kept.dropped_samples, heard.missing, heard.disorder) == (0, 0, 0)


def kept_blocks():
    return sum(kept.blocks for kept in reader.passes())


def wait_until(condition):
    end_s = time.monotonic() + LIMIT_S
    while not condition():
        assert time.monotonic() < end_s
        time.sleep(0.1)


def test_who_has_read_enough_ends_the_run():
    """As with ``| head -1``: exit code 0, nothing to complain of, and the pass has its end."""
    run = subprocess.Popen(
        [sys.executable, "-m", "sidecar", "rehearse", "--no-screen", "--json", "--osc-port", "0"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    run.stdout.readline()
    run.stdout.close()
    errors = run.stderr.read()
    run.stderr.close()

    assert (run.wait(LIMIT_S), errors) == (0, b"")
    assert all(kept.ended is not None for kept in reader.passes())
