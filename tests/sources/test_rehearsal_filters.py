import numpy as np
import pytest
from scipy import signal

from sidecar.sources.rehearsal.filters import butterworth, convolved, filtered

RATE_HZ = 48_000.0
NOISE = np.random.default_rng(4).standard_normal(4_001).astype(np.float32)


@pytest.mark.parametrize("order", [1, 2, 3, 4])
@pytest.mark.parametrize(
    ("corners_hz", "kind", "design"),
    [
        ((0.0, 900.0), "lowpass", 900.0),
        ((3_000.0, 24_000.0), "highpass", 3_000.0),
        ((120.0, 6_000.0), "bandpass", (120.0, 6_000.0)),
        ((2_900.0, 3_000.0), "bandpass", (2_900.0, 3_000.0)),
    ],
)
def test_a_band_is_that_of_scipy(order, corners_hz, kind, design):
    sections = butterworth(order, *corners_hz, RATE_HZ)
    heard = filtered(NOISE, sections[np.newaxis], len(NOISE), np.zeros((len(sections), 2)))
    expected = signal.sosfilt(signal.butter(order, design, kind, output="sos", fs=RATE_HZ), NOISE)

    np.testing.assert_allclose(heard, expected, atol=1e-7)


def test_sections_that_change_go_on_from_where_they_were():
    chains = np.array([butterworth(2, hz, 2 * hz, RATE_HZ) for hz in (300.0, 500.0, 900.0)])
    heard = filtered(NOISE, chains, 1_000, np.zeros((2, 2)))
    state, expected = np.zeros((2, 2)), []
    for chain, part in zip(chains, np.split(NOISE, [1_000, 2_000]), strict=True):
        part_heard, state = signal.sosfilt(chain, part, zi=state)
        expected.append(part_heard)

    np.testing.assert_allclose(heard, np.concatenate(expected), atol=1e-12)


@pytest.mark.parametrize("frames", [1, 2_999, 4_001])
def test_a_convolution_is_that_of_scipy(frames):
    response = np.random.default_rng(5).standard_normal((1_234, 2)).astype(np.float32)
    sound = NOISE[:frames, np.newaxis]

    np.testing.assert_allclose(
        convolved(sound, response), signal.fftconvolve(sound, response, axes=0), atol=1e-3
    )
