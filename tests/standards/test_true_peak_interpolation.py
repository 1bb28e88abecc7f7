"""True peak against band-limited interpolation on 64 points a sample (ITU-R BS.1770-5 Annex 2)."""

from dataclasses import dataclass

import numpy as np
import pytest
from ebu_signals import cut, faded, sine
from hypothesis import given, settings
from hypothesis import strategies as st
from whole_file import true_peak

from sidecar.meter import Meter

RATES_HZ = (8_000, 22_050, 44_100, 48_000, 96_000, 192_000)
GUARD = 2048

bounded = settings(derandomize=True, deadline=None, max_examples=60)


def band_limited(samples, rate_hz, limit_hz):
    """The samples without anything above the limit; the last tenth below it fades out, to ring less."""
    spectrum = np.fft.rfft(samples)
    frequencies_hz = np.fft.rfftfreq(len(samples), 1.0 / rate_hz)
    fade = np.clip((limit_hz - frequencies_hz) / (0.1 * limit_hz), 0.0, 1.0)
    return np.fft.irfft(spectrum * (0.5 - 0.5 * np.cos(np.pi * fade)), len(samples))


def limit_of(rate_hz):
    """20 kHz, the band of R 128 V5 m), or 0.45 of the rate where that is less."""
    return min(20_000.0, 0.45 * rate_hz)


@dataclass(frozen=True)
class Passage:
    """Bursts of band-limited noise over a band-limited tone, with silence on either side."""

    rate_hz: int
    bursts: tuple[tuple[float, float], ...]
    """(centre, width) of each burst as fractions of the passage."""
    tone: float
    """Frequency as a fraction of the band."""
    tone_gain: float
    peak: float
    """Highest sample, linear."""
    seed: int

    @property
    def samples(self):
        n = 8192
        random = np.random.default_rng(self.seed)
        at = np.arange(n) / n
        envelope = sum(np.exp(-(((at - centre) / width) ** 2)) for centre, width in self.bursts)
        limit_hz = limit_of(self.rate_hz)
        tone = faded(sine(self.rate_hz, self.tone * limit_hz, n / self.rate_hz), self.rate_hz)
        passage = np.pad(envelope * random.standard_normal(n) + self.tone_gain * tone[:n], GUARD)
        passage = band_limited(passage, self.rate_hz, limit_hz)
        return (passage * self.peak / np.max(np.abs(passage))).astype(np.float32)


passages = st.builds(
    Passage,
    rate_hz=st.sampled_from(RATES_HZ),
    bursts=st.tuples(*[st.tuples(st.floats(0.0, 1.0), st.floats(0.0002, 0.3))] * 2),
    tone=st.floats(0.01, 0.9),
    tone_gain=st.sampled_from([0.0, 0.3, 3.0]),
    peak=st.floats(0.01, 2.0),
    seed=st.integers(0, 2**32 - 1),
)


@pytest.mark.slow
@bounded
@given(passages, st.lists(st.integers(1, 3000), min_size=1, max_size=5))
def test_true_peak_is_that_of_the_interpolated_signal(passage, sizes):
    """Within 0.1 dB of the band-limited interpolation, whatever the blocks it comes in."""
    samples = passage.samples
    meter = Meter(sample_rate=passage.rate_hz, layout="mono")
    for block in cut([samples[:, np.newaxis]], [*sizes, 1000]):
        meter.push(block)
    meter.finish()
    reading = meter.reading()

    assert reading.max_true_peak == pytest.approx(true_peak(samples), abs=0.1)
    assert reading.sample_peak == pytest.approx(20 * np.log10(np.max(np.abs(samples))), abs=1e-3)


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 88_200, 96_000, 192_000])
@pytest.mark.parametrize("frequency_hz", [100, 1_000, 7_350, 11_025, 12_000, 16_000, 18_000, 20_000])
def test_true_peak_meets_r_128_at_every_phase(rate_hz, frequency_hz):
    """EBU R 128 V5 m): ±0.3 dB up to 20 kHz, here for sines of eight phases on and between the samples."""
    readings = []
    for phase_deg in np.arange(8) * 11.25:
        samples = 0.5 * faded(sine(rate_hz, frequency_hz, 0.2, phase_deg), rate_hz)
        meter = Meter(sample_rate=rate_hz, layout="mono")
        meter.push(samples[:, np.newaxis])
        meter.finish()
        readings.append(meter.reading().max_true_peak)

    assert readings == [pytest.approx(20 * np.log10(0.5), abs=0.3)] * 8


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000, 192_000])
def test_a_loud_peak_does_not_hide_another_channels(rate_hz):
    """True peak is kept for each channel: a quiet one is searched as carefully as a loud one."""
    quiet = 0.01 * faded(sine(rate_hz, rate_hz / 4, 0.2, 45.0), rate_hz)
    loud = 1.41 * faded(sine(rate_hz, rate_hz / 4, 0.2, 45.0), rate_hz)
    meter = Meter(sample_rate=rate_hz, layout="stereo")
    meter.push(np.column_stack([loud, quiet]))
    meter.finish()

    assert list(meter.reading().true_peak) == pytest.approx([20 * np.log10(1.41), -40.0], abs=0.3)
