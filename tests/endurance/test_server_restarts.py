"""The sound server goes away under a run and comes back: benchmarks/server_restarts.py does it ten times."""

import pytest
from live_run import LiveRun
from restarts import restart

from sidecar.journal import reader

RATE_HZ = 48_000
WRONG_S = 0.2


def test_each_gap_is_found_measured_shown_and_on_record(loopback):
    """A kill of the server costs what it was away, to 0.2 s; the alert comes on where it is away for long."""
    loopback.down()
    loopback.up(channels=2)
    with LiveRun("live", "--device", "loopback") as run:
        short, long = (restart(loopback, run, down_s, channels=2) for down_s in (0.2, 2.5))
        code, errors = run.end()
    kept = reader.latest()
    lost = [cut.lost_frames for cut in kept.cuts]

    assert (0, "") == (code, errors)
    for done in (short, long):
        assert pytest.approx(done.missing_s, abs=WRONG_S) == done.lost_s
    assert pytest.approx([short.lost_s, long.lost_s], abs=0.001) == [frames / RATE_HZ for frames in lost]
    assert [f"{frames / RATE_HZ:.2f} s lost" for frames in lost] == [
        event.text for event in kept.events if event.kind == "gap"
    ]
    assert "on" in [line["state"] for line in run.lines("alert") if line["name"] == "lost"]
    assert sum(lost) == run.lines("reading")[-1]["lost_frames"]
