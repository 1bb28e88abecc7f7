"""Several stems against the definition: filtered whole by scipy, products taken block by block."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from sidecar.advice import StemAdvisor
from sidecar.errors import SignalError
from sidecar.meter import Meter, StemMeter, kernels, stem_kernels, summed
from sidecar.meter.interpolation import REACH
from sidecar.meter.weighting import k_weighting
from sidecar.meter.weighting_kernels import SQUARES
from sidecar.settings.goals import Goal

K_WEIGHTING_48_KHZ = np.array(
    [
        [1.53512485958697, -2.69169618940638, 1.19839281085285, 1.0, -1.69065929318241, 0.73248077421585],
        [1.0, -2.0, 1.0, 1.0, -1.99004745483398, 0.99007225036621],
    ]
)
"""ITU-R BS.1770-5 Annex 1, Tables 1 and 2, as second-order sections."""

RATES_HZ = (11_025, 44_100, 48_000, 96_000)
"""At 11,025 Hz neither 10 ms nor 100 ms is a whole number of samples."""

bounded = settings(derandomize=True, deadline=None, max_examples=25)


def stems_of(stems, rate_hz, seconds, seed=0, dtype=np.float32, each=2):
    """Noise with a shared part, some of it inverted, at levels 20 dB apart; shape (n, stems · each)."""
    random = np.random.default_rng(seed)
    n = round(seconds * rate_hz)
    room = random.standard_normal((n, 1, each))
    own = random.standard_normal((n, stems, each))
    sign = np.where(np.arange(stems) % 3 == 2, -1.0, 1.0)[:, None]
    level = 10.0 ** (random.uniform(-40.0, -20.0, (stems, 1)) / 20.0)
    return (level * (own + 0.7 * sign * room)).reshape(n, stems * each).astype(dtype)


def cut(frames, sizes):
    """The frames in blocks of these sizes, over and over."""
    at = 0
    for size in itertools.cycle(sizes):
        if at >= len(frames):
            return
        yield frames[at : at + size]
        at += size


def measured(frames, rate_hz, stems, sizes, each=2):
    meter = StemMeter(rate_hz, stems, each)
    for block in cut(frames, sizes):
        meter.push(block)
    return meter.take_blocks()


def block_ends(rate_hz, frames):
    """Frame k·rate/10, halves up, for every whole block in so many frames."""
    ends = [math.floor(k * rate_hz / 10 + 0.5) for k in range(10 * frames // rate_hz + 2)]
    return [end for end in ends if end <= frames]


def defined(frames, rate_hz, stems):
    """Mean products by definition: BS.1770-5 Annex 1, equation 1, with two signals for its square."""
    sections = K_WEIGHTING_48_KHZ if rate_hz == 48_000 else k_weighting(rate_hz)
    weighted = signal.sosfilt(sections, frames.astype(np.float64), axis=0)
    channels = weighted.reshape(len(frames), stems, -1)
    bounds = itertools.pairwise(block_ends(rate_hz, len(frames)))
    return np.array([np.einsum("tic,tjc->ij", channels[a:b], channels[a:b]) / (b - a) for a, b in bounds])


def assert_products(expected, actual, tolerance=1e-9):
    """Equal within *tolerance* of the geometric mean of both stems' energies."""
    assert expected.shape == actual.shape
    energies = np.sqrt(np.diagonal(expected, axis1=1, axis2=2))
    np.testing.assert_array_less(
        np.abs(actual - expected), tolerance * energies[:, :, None] * energies[:, None, :]
    )


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize(("stems", "each"), [(1, 2), (2, 2), (5, 2), (16, 2), (1, 1), (3, 1), (4, 1)])
def test_products_are_those_of_the_definition(rate_hz, stems, each):
    """Every block's products are those of the whole filtered by scipy, channels summed with weight 1."""
    frames = stems_of(stems, rate_hz, 0.95, each=each)

    expected = defined(frames, rate_hz, stems)
    actual = measured(frames, rate_hz, stems, [701, 1, 3307], each)

    assert len(expected) == 9
    assert_products(expected, actual.covariance)


def test_double_precision_is_measured_too():
    """Float64 frames give the products of their values, to single precision."""
    frames = stems_of(3, 48_000, 0.5, dtype=np.float64)

    assert_products(defined(frames, 48_000, 3), measured(frames, 48_000, 3, [999]).covariance, 1e-6)


@pytest.mark.parametrize("dtype", [np.float32, np.float64])
@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_the_sum_of_all_products_is_the_energy_of_the_mix(rate_hz, dtype):
    """1ᵀC1 is what a meter of the mix gives for the same blocks, through losses and bad samples."""
    stems, random = 5, np.random.default_rng(rate_hz)
    frames = stems_of(stems, rate_hz, 4.0, dtype=dtype)
    frames[random.integers(0, len(frames), 300), random.integers(0, 2 * stems, 300)] = np.nan
    meter, mix_meter = StemMeter(rate_hz, stems), Meter(rate_hz, "stereo")
    for count, block in enumerate(cut(frames, [1, 17, rate_hz // 97, 4801, 3])):
        if count % 23 == 11:
            meter.splice()
            mix_meter.splice()
        meter.push(block)
        mix_meter.push(summed(block, stems))

    expected = mix_meter.take_blocks().energy
    covariance = meter.take_blocks().covariance
    assert len(expected) > 30
    np.testing.assert_allclose(covariance.sum(axis=(1, 2)), expected, rtol=1e-6)


def test_stems_that_cancel_leave_nothing():
    """A stem and its inverse: their products are as negative as their energies are positive."""
    stem = stems_of(1, 48_000, 0.5)
    covariance = measured(np.hstack([stem, -stem]), 48_000, 2, [777]).covariance

    np.testing.assert_array_less(0.0, covariance[:, 0, 0])
    np.testing.assert_allclose(covariance.sum(axis=(1, 2)), 0.0, atol=1e-14 * covariance.max())


def test_the_advisor_reads_what_the_remix_reads():
    """With the products as metered the advice names the loudness of the mix at faders never heard."""
    goal = Goal("test", "Test", -23.0, 0.2, 0.2, -1.0, -18.0)
    frames, gains_db = stems_of(4, 48_000, 6.0), np.array([3.0, -6.0, -20.0, 1.5])
    blocks = measured(frames, 48_000, 4, [4800])
    advisor = StemAdvisor(["voice", "bed", "room", "bass"], goal)
    advisor.push(blocks.covariance, np.zeros(4), blocks.true_peak)
    remix = Meter(48_000, "stereo")
    remix.push(summed(frames * np.repeat(10.0 ** (gains_db / 20.0), 2), 4))

    assert advisor.loudness(gains_db) == pytest.approx(remix.reading().integrated, abs=1e-4)


@pytest.mark.slow
@bounded
@given(st.sampled_from(RATES_HZ), st.lists(st.integers(1, 6000), min_size=1, max_size=5))
def test_block_sizes_make_no_difference(rate_hz, sizes):
    """The same frames in any cut give the same blocks as all at once."""
    frames = stems_of(3, rate_hz, 0.75)
    whole = measured(frames, rate_hz, 3, [len(frames)])
    pieces = measured(frames, rate_hz, 3, [*sizes, 2000])

    assert_products(whole.covariance, pieces.covariance)
    np.testing.assert_allclose(pieces.true_peak, whole.true_peak, rtol=0.0, atol=1e-4)


def test_frame_by_frame_is_the_same():
    """Blocks of a single frame, the smallest there are, give the products of the definition."""
    frames = stems_of(2, 11_025, 0.32)

    assert_products(defined(frames, 11_025, 2), measured(frames, 11_025, 2, [1]).covariance)


def test_any_layout_in_memory_is_measured_the_same():
    """Frames that are a slice, reversed or Fortran-ordered in memory measure as their values do."""
    frames = stems_of(2, 48_000, 0.3)
    wide = np.zeros((2 * len(frames), 8), np.float32)
    wide[::2, 2:6] = frames
    expected = defined(frames, 48_000, 2)

    for same in (wide[::2, 2:6], np.asfortranarray(frames), frames[::-1].copy()[::-1]):
        assert_products(expected, measured(same, 48_000, 2, [len(frames)]).covariance)


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
@pytest.mark.parametrize(("amplitude", "phase_deg", "expected"), [(0.5, 45.0, -6.0), (1.41, 45.0, 3.0)])
def test_true_peak_is_between_the_samples(rate_hz, amplitude, phase_deg, expected):
    """EBU Tech 3341 Table 1, rows 16 and 19: fs/4 sines, +0.2/−0.4 dB; on one stem's right channel alone."""
    frames = np.zeros((rate_hz, 6))
    sine = np.sin(np.pi / 2 * np.arange(rate_hz) + np.radians(phase_deg))
    ramp = np.clip(np.arange(rate_hz) / (0.05 * rate_hz), 0.0, 1.0)
    frames[:, 3] = amplitude * sine * ramp
    blocks = measured(frames, rate_hz, 3, [1021])

    assert blocks.true_peak.shape == (10, 3)
    assert np.all(blocks.true_peak[:, [0, 2]] == -np.inf)
    steady = blocks.true_peak[1:, 1]
    assert np.all((expected - 0.4 <= steady) & (steady <= expected + 0.2))


@pytest.mark.slow
def test_each_peak_is_in_its_own_block_and_stem():
    """The louder channel's, within 0.1 dB of band-limited interpolation on 64 points a sample."""
    rate_hz, stems = 48_000, 3
    random = np.random.default_rng(5)
    frames = np.zeros((rate_hz, 2 * stems))
    low_pass = signal.firwin(101, 18_000, fs=rate_hz)
    expected = np.empty((10, stems))
    for block, channel in itertools.product(range(10), range(2 * stems)):
        burst = np.convolve(random.standard_normal(800), low_pass) * 10 ** (random.uniform(-60, -10) / 20)
        frames[block * 4800 + 2000 :, channel][: len(burst)] = burst
        padded = np.pad(burst, 1000)
        fine_db = 20.0 * np.log10(np.max(np.abs(signal.resample(padded, 64 * len(padded)))))
        seen = expected[block, channel // 2] if channel % 2 else -np.inf
        expected[block, channel // 2] = max(seen, fine_db)

    np.testing.assert_allclose(measured(frames, rate_hz, stems, [997]).true_peak, expected, rtol=0, atol=0.1)


def test_no_block_reaches_across_a_splice():
    """What came before a loss is in no block after it, and the unfinished block is dropped."""
    meter = StemMeter(48_000, 2)
    meter.push(stems_of(2, 48_000, 0.25))
    meter.splice()
    meter.push(np.zeros((9_600, 4), np.float32))
    blocks = meter.take_blocks()

    assert len(blocks.covariance) == 4
    assert np.all(blocks.covariance[:2, 0, 0] > 0.0)
    assert not blocks.covariance[2:].any()
    assert np.all(blocks.true_peak[2:] == -np.inf)


def test_a_splice_in_the_middle_of_a_tone_makes_up_no_peak():
    """The interpolators start from the level that is there, not from a jump that was not played."""
    tone = 0.5 * np.sin(2 * np.pi * 997 * np.arange(48_000) / 48_000)[:, None] * np.ones((1, 4))
    meter = StemMeter(48_000, 2)
    for start in range(0, 48_000 - 5_500, 5_507):
        meter.push(tone[start : start + 5_500])
        meter.splice()

    assert meter.take_blocks().true_peak.max() == pytest.approx(20 * np.log10(0.5), abs=0.1)


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf, 1e30])
@pytest.mark.parametrize("dtype", [np.float32, np.float64])
def test_bad_samples_are_counted_and_measured_as_silence(bad, dtype):
    """The blocks are those of the same frames with zeros there, at a seam too; the frames are left alone."""
    frames = stems_of(2, 48_000, 0.5, dtype=dtype)
    silenced, spoilt = frames.copy(), frames.copy()
    places = ([0, 0, 5000, 9000, 9001], [0, 3, 1, 2, 2])
    silenced[places] = 0.0
    spoilt[places] = bad
    kept = spoilt.copy()
    blocks, counts = [], []
    for played in (silenced, spoilt):
        meter = StemMeter(48_000, 2)
        meter.splice()
        meter.push(played)
        blocks.append(meter.take_blocks())
        counts.append(meter.bad_samples)

    assert counts == [0, 5]
    np.testing.assert_array_equal(blocks[0].covariance, blocks[1].covariance)
    np.testing.assert_array_equal(blocks[0].true_peak, blocks[1].true_peak)
    np.testing.assert_array_equal(kept, spoilt)
    np.testing.assert_array_equal(summed(silenced, 2), summed(spoilt, 2))


def test_filters_come_to_rest_in_silence():
    """2 s of silence behind a noise leave exact zeros, not numbers that are slow to calculate with."""
    noise, silence = stems_of(1, 48_000, 0.2), np.zeros((96_000, 2), np.float32)
    state, stems_state = kernels.fresh_front(2), stem_kernels.fresh_stems(1, 2)
    none = np.empty(0, np.int64)
    moved = []
    for frames in (noise, silence):
        planes = np.concatenate([np.zeros((REACH, 2), np.float32), frames]).T.copy()
        kernels.run_front(
            *(planes, none, K_WEIGHTING_48_KHZ, np.ones(2), state, kernels.fresh_scratch()),
            (np.empty((2, 0)), np.empty(0), np.empty((0, 2)), np.empty((0, 2), np.float32)),
        )
        stem_kernels.run_stems(
            planes,
            (none, none),
            K_WEIGHTING_48_KHZ,
            stems_state,
            np.empty((0, 1, 1)),
            np.empty((0, 1), np.float32),
        )
        filters = state.memories[:, :SQUARES], stems_state.memories[:, :SQUARES]
        moved.append(tuple(bool(memories.any()) for memories in filters))

    assert moved == [(True, True), (False, False)]


def test_a_reset_begins_anew():
    """Blocks, peaks, filters and counts of before are forgotten."""
    frames = stems_of(2, 48_000, 0.3)
    meter = StemMeter(48_000, 2)
    meter.push(np.full((7_000, 4), np.nan))
    meter.push(stems_of(2, 48_000, 0.33, seed=1) * 10)
    meter.reset()
    meter.push(frames)
    blocks, fresh = meter.take_blocks(), measured(frames, 48_000, 2, [len(frames)])

    assert meter.bad_samples == 0
    np.testing.assert_array_equal(fresh.covariance, blocks.covariance)
    np.testing.assert_array_equal(fresh.true_peak, blocks.true_peak)


def test_blocks_are_handed_over_once():
    """Nothing full, nothing new and nothing at all are empty blocks of the right shapes."""
    meter = StemMeter(48_000, 3)
    shapes = []
    for frames in (0, 4_799, 1, 0):
        meter.push(np.zeros((frames, 6), np.float32))
        blocks = meter.take_blocks()
        shapes.append((blocks.covariance.shape, blocks.true_peak.shape))

    expected = [((n, 3, 3), (n, 3)) for n in (0, 0, 1, 0)]
    assert shapes == expected


def test_the_mix_is_left_with_left_and_right_with_right():
    """summed() adds the stems up channel by channel."""
    frames = stems_of(7, 48_000, 0.01)

    expected = np.column_stack(
        [frames[:, side::2].astype(np.float64).sum(axis=1) for side in (0, 1)],
    )
    np.testing.assert_allclose(summed(frames, 7), expected, rtol=0, atol=1e-12)


@pytest.mark.parametrize(
    ("rate_hz", "stems", "each", "named"),
    [(4_000, 2, 2, "4000 Hz"), (48_000, 0, 2, "0 stems"), (48_000, 2, 6, "of 6 channels")],
)
def test_what_cannot_be_measured_is_refused(rate_hz, stems, each, named):
    """The message names the value."""
    with pytest.raises(SignalError, match=named):
        StemMeter(rate_hz, stems, each)


@pytest.mark.parametrize(
    ("frames", "said"),
    [
        (np.zeros((10, 5)), "in 3 stems, and 5 in the audio"),
        (np.zeros(10), r"in 3 stems, and frames of shape \(10,\) in the audio"),
        (np.zeros((10, 6), np.int64), "Samples of type int64 cannot be measured: give float32"),
    ],
    ids=["odd", "flat", "integers"],
)
def test_frames_that_do_not_fit_are_refused(frames, said):
    """Another shape or type is an error in the meter and in the sum."""
    with pytest.raises(SignalError, match=said):
        StemMeter(48_000, 3).push(frames)
    with pytest.raises(SignalError, match=said):
        summed(frames, 3)
