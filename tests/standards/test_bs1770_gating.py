"""ITU-R BS.1770-5 Annex 1, equations 3–7: gating blocks and both gates."""

import math

import pytest
from ebu_signals import RATES_HZ, tones
from playing import read_file, read_live, read_live_at_the_end

pytestmark = pytest.mark.parametrize("rate_hz", RATES_HZ)


def integrated(rate_hz, *segments):
    """I of a file and of the same signal live, which are one number."""
    file = read_file(tones(rate_hz, list(segments)), rate_hz).integrated
    live = read_live_at_the_end(tones(rate_hz, list(segments)), rate_hz)
    assert live.integrated == pytest.approx(file, abs=1e-6)
    return file


def test_a_block_is_400_ms_long(rate_hz):
    """A programme shorter than one gating block has no loudness; one of exactly one block has."""
    assert -math.inf == integrated(rate_hz, (0.39, -20.0))
    assert integrated(rate_hz, (0.4, -20.0)) == pytest.approx(-20.0, abs=0.1)


def test_an_incomplete_last_block_is_dropped(rate_hz):
    """Tech 3341 §2.3: what comes after the last whole block does not count, and no silence is added."""
    whole = integrated(rate_hz, (2.0, -30.0))

    assert whole == integrated(rate_hz, (2.0, -30.0), (0.09, -3.0))
    assert whole < integrated(rate_hz, (2.0, -30.0), (0.1, -3.0)) - 1.0


@pytest.mark.slow
def test_the_absolute_gate(rate_hz):
    """Blocks at or under −70 LKFS never count: not alone and not beside others."""
    assert -math.inf == integrated(rate_hz, (5, -70.5))
    assert integrated(rate_hz, (5, -69.5)) == pytest.approx(-69.5, abs=0.1)
    assert integrated(rate_hz, (10, -70.5), (20, -69.5), (10, -70.5)) == pytest.approx(-69.5, abs=0.1)


@pytest.mark.slow
def test_the_relative_gate_is_10_lu_under_the_ungated_mean(rate_hz):
    """Power mean of 20 s at −20 and 20 s at L, minus 10: L = −31.5 counts, L = −33.5 does not.

    The mean is 2.7 LU (L = −31.5) or 2.8 LU (L = −33.5) under −20, so the gate lies near −32.75.
    """
    counted = 10 * math.log10((10**-2.0 + 10**-3.15) / 2)

    assert integrated(rate_hz, (20, -20.0), (20, -31.5)) == pytest.approx(counted, abs=0.05)
    assert integrated(rate_hz, (20, -20.0), (20, -33.5)) == pytest.approx(-20.0, abs=0.05)


def test_the_gate_moves_with_the_programme(rate_hz):
    """Tech 3341 §2.3: the gate is recomputed on all blocks at each update, so early ones can drop out."""
    readings = list(read_live(tones(rate_hz, [(10, -40.0), (10, -20.0)]), rate_hz))

    early = [reading.integrated for seconds, reading in readings if 9.9 < seconds < 10.0]
    assert early[-1] == pytest.approx(-40.0, abs=0.1)
    assert readings[-1][1].integrated == pytest.approx(-20.0, abs=0.15)
