"""The sound server goes away under a run and comes back: benchmarks/server_restarts.py does it ten times."""

import numpy as np
import pytest
import soundfile
from live_run import LiveRun
from restarts import restart

from sidecar.journal import reader

pytestmark = pytest.mark.slow


RATE_HZ = 48_000
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
    Back at another rate, which this sound system converts by itself, it is measured right."""
    loopback.down()
    loopback.up(channels=2)
    with LiveRun("live", "--device", "loopback") as run:
        short = restart(loopback, run, 0.2, channels=2)
        long = restart(loopback, run, 2.5, channels=2, rate_hz=44_100)
        assert loopback.play(tone).wait() == 0
        code, errors = run.end()
    kept = reader.latest()
    lost = [cut.dropped_samples for cut in kept.cuts]

    assert (code, errors) == (0, "")
    for done in (short, long):
        assert done.lost_s == pytest.approx(done.missing_s, abs=WRONG_S)
    assert [frames / RATE_HZ for frames in lost] == pytest.approx([short.lost_s, long.lost_s], abs=0.001)
    assert [f"{frames / RATE_HZ:.2f} s lost" for frames in lost] == [
        event.text for event in kept.events if event.kind == "gap"
    ]
    assert "on" in [line["state"] for line in run.lines("alert") if line["name"] == "lost"]
    assert run.lines("reading")[-1]["max_short_term_lufs"] == pytest.approx(-18.0, abs=0.1)
    assert sum(lost) == run.lines("reading")[-1]["dropped_samples"]
