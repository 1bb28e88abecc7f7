"""A run that is not let run: what the ring could not hold is counted to the frame."""

import json
import signal
import time

import pytest
from live_run import LiveRun
from starved import heard_on, playing_numbers

from sidecar.cli import main
from sidecar.journal import reader

pytestmark = pytest.mark.slow


RATE_HZ = 48_000
STARVED_S = 9.0  # the ring holds 8 s
SETTLED_S = 5.5  # a loss that only the clock shows would be reported within 5 s


def test_every_frame_that_the_ring_could_not_hold_is_counted(loopback, tmp_path):
    """Told, shown, on record and exported is what the numbers on the tape say is missing, and where."""
    loopback.down()
    loopback.up(channels=2)
    tape, exported = tmp_path / "heard.wav", tmp_path / "pass.json"
    with playing_numbers(120), LiveRun("live", "--device", "loopback", "--write", str(tape)) as run:
        began = run.wait_for(lambda line: line["type"] == "reading" and line["seconds"] > 2.0)
        run.process.send_signal(signal.SIGSTOP)
        time.sleep(STARVED_S)
        run.process.send_signal(signal.SIGCONT)
        back = run.wait_for(lambda line: line["type"] == "reading" and line["dropped_samples"] > 0)
        run.wait_for(lambda line: line["seconds"] > back.line["seconds"] + SETTLED_S)
        code, errors = run.end()
    assert main(["passes", "--export", "1", "--to", str(exported)]) == 0
    kept, whole = reader.latest(), json.loads(exported.read_text())
    heard = heard_on(tape)

    assert (code, errors) == (0, "")
    assert (heard.disorder, heard.misplaced) == (0, 0)
    assert heard.missing > (STARVED_S - 8.5) * RATE_HZ
    assert heard.missing == run.lines("reading")[-1]["dropped_samples"]
    assert heard.missing == sum(cut.dropped_samples for cut in kept.cuts) == whole["dropped_samples"]
    assert heard.missing == sum(cut["dropped_samples"] for cut in whole["cuts"])
    places = [cut.block / 10 for cut in kept.cuts if cut.dropped_samples]
    assert all(began.line["seconds"] - 0.2 < place < back.line["seconds"] for place in places)
    assert len(places) == len([event for event in kept.events if event.kind == "gap"])
