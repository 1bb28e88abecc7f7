import numpy as np
import pytest
from scipy.signal import resample_poly

from sidecar.speech.resampler import DETECTOR_RATE_HZ, Resampler


def resampled(signal, rate_hz):
    resampler = Resampler(rate_hz)
    return np.concatenate([resampler.push(signal), resampler.push(np.zeros(resampler.tail, np.float32))])


@pytest.mark.parametrize("rate_hz", [8_000, 11_025, 22_050, 44_100, 48_000, 96_000, 192_000])
def test_a_tone_keeps_its_level_and_its_time(rate_hz):
    tone = np.sin(2 * np.pi * 1000 * np.arange(rate_hz) / rate_hz).astype(np.float32)

    found = resampled(tone, rate_hz)

    at_s = np.arange(1000, 14_000) / DETECTOR_RATE_HZ
    assert found[1000:14_000] == pytest.approx(np.sin(2 * np.pi * 1000 * at_s), abs=1e-3)


def test_what_lies_above_is_kept_out():
    """A tone at 10 kHz would fold back to 6 kHz."""
    tone = np.sin(2 * np.pi * 10_000 * np.arange(48_000) / 48_000).astype(np.float32)

    assert np.abs(resampled(tone, 48_000)[1000:14_000]).max() < 10 ** (-60 / 20)


def test_noise_comes_out_as_scipy_makes_it():
    noise = np.random.default_rng(1).standard_normal(48_000).astype(np.float32)
    low = resample_poly(resample_poly(noise, 1, 10), 10, 1).astype(np.float32)  # below 2.4 kHz

    expected = resample_poly(low, 1, 3)

    assert resampled(low, 48_000)[500:15_500] == pytest.approx(expected[500:15_500], abs=2e-3)


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 47_999])
def test_blocks_of_any_size_make_no_difference(rate_hz):
    rng = np.random.default_rng(2)
    noise = rng.standard_normal(2 * rate_hz).astype(np.float32)
    whole, pieces, at = Resampler(rate_hz).push(noise), [], 0
    resampler = Resampler(rate_hz)

    while at < len(noise):
        size = int(rng.integers(1, 6000))
        pieces.append(resampler.push(noise[at : at + size]))
        at += size

    assert np.concatenate(pieces) == pytest.approx(whole, abs=1e-5)
    assert len(whole) > 0.9 * DETECTOR_RATE_HZ
