"""The rehearsal sounds like a rough mix that needs the sidecar, and like nothing broken."""

from __future__ import annotations

from itertools import islice

import numpy as np
import pytest
import rehearsal_yardstick as yardstick
from scipy import signal

from sidecar.sources.rehearsal import RehearsalSource
from sidecar.sources.rehearsal.score import SECTIONS

pytestmark = pytest.mark.slow  # four minutes of programme are made

RATE_HZ = 48_000
TARGET_LUFS = -23.0
"""EBU R 128 h)."""
CEILING_DBTP = -1.0
"""EBU R 128 m)."""


@pytest.fixture(scope="module")
def stems():
    """The whole programme without the fader, unmixed: shape (n, 8)."""
    return np.concatenate(list(RehearsalSource().stem_slabs()))


@pytest.fixture(scope="module")
def programme(stems):
    """The same mixed, with the fader at 0 dB, as the source gives it (see the sum of the stems): (n, 2)."""
    voice, music, effects, ambience = (stems[:, c : c + 2] for c in (0, 2, 4, 6))
    return ((voice + music) + effects) + ambience


@pytest.fixture(scope="module")
def power(programme):
    return yardstick.powers(programme)


@pytest.fixture(scope="module")
def peaks(programme):
    return yardstick.true_peaks(programme)


def span_of(title):
    """First and last 100 ms block of a section."""
    start_s = 0.0
    for section in SECTIONS:
        if section.title == title:
            return round(start_s * 10), round((start_s + section.seconds) * 10)
        start_s += section.seconds
    raise LookupError(title)


FIRST_S = 20

STORM = slice(*span_of("storm"))


def test_lasts_as_long_as_it_says(programme):
    """The duration that the advice relies on is the number of frames that come."""
    assert len(programme) / RATE_HZ == RehearsalSource().duration_s == 240.0


def test_is_the_sum_of_its_stems_to_the_bit(programme, stems):
    """Stems added in their order are the mix that the source gives, here as long as it takes until all four
    of them sound."""
    blocks = islice(RehearsalSource(pace="fast", block_frames=4800).blocks(), FIRST_S * 10)
    given = np.concatenate([block.frames for block in blocks])

    assert RehearsalSource.stems == ("voice", "music", "effects", "ambience")
    assert all(stems[: len(given), c].any() for c in range(8))
    assert np.array_equal(programme[: FIRST_S * RATE_HZ], given)


def test_is_a_little_too_hot_for_the_broadcast_target(power):
    """Whoever follows the advice must be asked to come down by 2 to 3 dB."""
    assert yardstick.integrated(power) == pytest.approx(-20.5, abs=0.5)


def test_starts_somewhat_under_its_mean(power):
    """Advice from the first minute alone would fall short, as it does with real programmes."""
    opening = yardstick.integrated(power[:600])

    assert 0.5 <= yardstick.integrated(power) - opening <= 2.0


def test_has_the_loudness_range_of_a_feature(power):
    """8 to 12 LU: quiet mornings and storms (common practice, no source)."""
    assert 8.0 <= yardstick.loudness_range(power) <= 12.0


def test_runs_hot_in_the_storm(power):
    """The loudest 3 s lie in the storm, 5 to 8 LU over the target."""
    history = yardstick.short_term(power)
    ends_at = int(history.argmax()) + 30

    assert STORM.start < ends_at <= STORM.stop
    assert 5.0 <= history.max() - TARGET_LUFS <= 8.0


def test_passes_the_ceiling_once(peaks):
    """One clap of thunder, and nothing else, is over −1 dBTP."""
    over = np.flatnonzero(peaks > CEILING_DBTP)

    assert peaks.max() == pytest.approx(-0.5, abs=0.3)
    assert STORM.start <= over.min() <= over.max() < STORM.stop
    assert np.ptp(over) <= 2


def test_keeps_clear_of_the_ceiling_outside_the_storm(peaks):
    """Everything else leaves 2 dB."""
    assert max(peaks[: STORM.start].max(), peaks[STORM.stop :].max()) < -2.0


def test_holds_its_breath(programme):
    """The silence is several seconds of nothing at all, so that gates and the silence alert are tried."""
    start, stop = span_of("a held breath")

    assert stop - start >= 50
    assert not programme[start * 4800 : stop * 4800].any()


def test_speech_lies_where_speech_lies(stems):
    """Over 95 % of a voice's power is between 100 Hz and 4 kHz (common practice, no source)."""
    hz, density = signal.welch(stems[:, 0:2].mean(axis=1), RATE_HZ, nperseg=8192)
    inside = (hz >= 100.0) & (hz <= 4000.0)

    assert density[inside].sum() / density.sum() > 0.95


def test_speech_comes_in_syllables(stems):
    """The interview's envelope moves most at the rate of syllables, 2 to 8 a second (common practice)."""
    start, stop = span_of("the harbour master")
    voice = stems[start * 4800 : stop * 4800, 0:2].mean(axis=1)
    envelope = np.abs(voice).reshape(-1, RATE_HZ // 100).mean(axis=1)
    hz, density = signal.welch(envelope, 100.0, nperseg=512, detrend="linear")
    centre_hz = (hz * density)[(hz > 1.0) & (hz < 20.0)].sum() / density[(hz > 1.0) & (hz < 20.0)].sum()

    assert 2.0 <= centre_hz <= 8.0


@pytest.mark.parametrize("title", [s.title for s in SECTIONS if s.cues])
def test_is_neither_mono_nor_out_of_phase(programme, title):
    """Left and right are related in every section, and never the same."""
    start, stop = span_of(title)
    left, right = programme[start * 4800 : stop * 4800].T

    assert 0.2 < np.corrcoef(left, right)[0, 1] < 0.95


def test_has_no_offset(programme):
    """The mean of each channel is under −70 dBFS."""
    assert np.abs(programme.mean(axis=0, dtype=np.float64)).max() < 10.0 ** (-70.0 / 20.0)


def test_has_no_clicks(programme):
    """No step from sample to sample exceeds by more than 20 dB from those in the 50 ms about it."""
    steps = np.abs(np.diff(programme, axis=0)).max(axis=1).astype(np.float64)
    width = RATE_HZ // 20
    around = np.sqrt(signal.oaconvolve(steps**2, np.full(width, 1.0 / width), mode="same").clip(0.0))

    assert (steps / (around + 1e-4)).max() < 10.0
