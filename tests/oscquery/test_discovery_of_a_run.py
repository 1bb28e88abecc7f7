"""Discovery as a person gets it: a run in a process of its own."""

import json
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request

import pytest

from sidecar.cli import main

PATIENCE_S = 240.0  # the first run on a machine compiles the meter


def read(url):
    """The value of a node; none without an answer or a value."""
    try:
        with urllib.request.urlopen(url, timeout=10) as response:
            return json.loads(response.read() or b"{}").get("VALUE")
    except (urllib.error.URLError, ConnectionError):
        return None


@pytest.mark.slow
def test_a_run_answers_with_what_it_reads_and_ends_in_good_order():
    """``--discovery-port`` on a rehearsal: loudness can be asked for while it plays."""
    with socket.create_server(("127.0.0.1", 0)) as probe:
        port = probe.getsockname()[1]
    words = ["rehearse", "--no-screen", "--osc-port", "0", "--discovery-port", str(port)]
    run = subprocess.Popen(
        [sys.executable, "-m", "sidecar", *words],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    )
    end_s = time.monotonic() + PATIENCE_S
    heard = None
    try:
        while (heard is None or heard[0] < -50.0) and time.monotonic() < end_s:
            heard = read(f"http://127.0.0.1:{port}/sidecar/momentary?VALUE")
            time.sleep(0.05)
    finally:
        run.terminate()
        _, errors = run.communicate(timeout=PATIENCE_S)

    assert heard is not None
    assert -50.0 <= heard[0] < 0.0
    assert (run.returncode, errors) == (0, "")


def test_an_announcement_of_every_address_is_refused_in_one_sentence(capsys):
    """A run that is open to all networks names the one to announce on."""
    code = main(
        ["rehearse", "--no-screen", "--osc-port", "0", "--osc-bind", "0.0.0.0", "--announce", "--for", "1"]
    )

    assert code == 2
    assert "sidecar: --announce needs one address of this machine, not 0.0.0.0" in capsys.readouterr().err
