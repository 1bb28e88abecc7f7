"""The sound server goes away under a run and comes back: benchmarks/server_restarts.py does it ten times."""

import numpy as np
import pytest
import soundfile
from live_run import LiveRun
from restarts import restart

from sidecar.journal import reader

pytestmark = pytest.mark.slow


RATE_HZ = 48_000
OTHER_RATE_HZ = 44_100
WRONG_S = 0.2


@pytest.fixture
def tone(tmp_path):
    """4 s of 1 kHz at -18 dBFS in both channels: -18 LUFS (Tech 3341 §2.9)."""
    seconds = np.arange(4 * RATE_HZ) / RATE_HZ
    file = tmp_path / "tone.wav"
    wave = 10 ** (-18 / 20) * np.sin(2 * np.pi * 1000 * seconds)
    soundfile.write(file, np.stack([wave, wave], axis=1), RATE_HZ, subtype="FLOAT")
    return file


def test_each_gap_is_found_measured_shown_and_on_record(loopback, tone):
    """A kill of the server costs what it was away, to 0.2 s; the alert comes on where it is away for long.
    Back at another rate, it is measured at that one."""
    loopback.down()
    loopback.up(channels=2)
    with LiveRun("live", "--device", "loopback") as run:
        short = restart(loopback, run, 0.2, channels=2)
        long = restart(loopback, run, 2.5, channels=2, rate_hz=OTHER_RATE_HZ)
        assert loopback.play(tone).wait() == 0
        code, errors = run.end()
    kept = reader.latest()
    lost = [cut.dropped_samples for cut in kept.cuts if cut.dropped_samples]
    lost_s = [samples / RATE_HZ for samples in lost]  # on record at the rate of the beginning

    assert (code, errors) == (0, "")
    for done in (short, long):
        assert done.lost_s == pytest.approx(done.missing_s, abs=WRONG_S)
    assert lost_s == pytest.approx([short.lost_s, long.lost_s], abs=0.001)
    assert [f"{seconds:.2f} s lost" for seconds in lost_s] == [
        event.text for event in kept.events if event.kind == "gap" and "lost" in event.text
    ]
    assert "on" in [line["state"] for line in run.lines("alert") if line["name"] == "lost"]
    assert run.lines("reading")[-1]["max_short_term_lufs"] == pytest.approx(-18.0, abs=0.1)
    assert run.lines("reading")[-1]["dropped_samples"] == pytest.approx(sum(lost_s) * OTHER_RATE_HZ, abs=1)
