"""Random programmes in random blocks against the definitions applied to the whole file at once."""

import dataclasses
import itertools
from dataclasses import dataclass

import numpy as np
import pytest
from ebu_signals import cut
from hypothesis import example, given, settings
from hypothesis import strategies as st
from whole_file import K_WEIGHTING_48_KHZ, WholeFile

from sidecar.meter import Meter
from sidecar.meter.weighting import k_weighting

RATES_HZ = (8_000, 22_050, 44_100, 48_000, 96_000)
WEIGHTS = {
    "mono": (1.0,),
    "stereo": (1.0, 1.0),
    "5.0": (1.0, 1.0, 1.0, 1.41, 1.41),
    "5.1": (1.0, 1.0, 1.0, 0.0, 1.41, 1.41),
}
CLASS_LU = 0.005
"""Short-term values are counted in classes as wide as this."""
LOUDNESSES = ("momentary", "short_term", "integrated", "max_momentary", "max_short_term")

bounded = settings(derandomize=True, deadline=None, max_examples=15)


@dataclass(frozen=True)
class Programme:
    """Bursts of noise and silences, drawn by their recipe so that a failure prints small."""

    rate_hz: int
    layout: str
    bursts: tuple[tuple[float, float | None], ...]
    """(seconds, RMS dBFS or None for silence)."""
    dtype: type
    seed: int

    @property
    def frames(self):
        random = np.random.default_rng(self.seed)
        channels = len(WEIGHTS[self.layout])
        parts = []
        for seconds, level_dbfs in self.bursts:
            shape = (round(seconds * self.rate_hz), channels)
            gain = 0.0 if level_dbfs is None else 10.0 ** (level_dbfs / 20.0)
            parts.append(gain * random.standard_normal(shape))
        return np.concatenate(parts).astype(self.dtype)

    @property
    def definition(self):
        rate_hz = self.rate_hz
        k = K_WEIGHTING_48_KHZ if rate_hz == 48_000 else k_weighting(rate_hz)
        return WholeFile(self.frames, rate_hz, WEIGHTS[self.layout], k)

    def played(self, sizes):
        meter = Meter(sample_rate=self.rate_hz, layout=self.layout)
        for block in cut([self.frames], sizes):
            meter.push(block)
        return meter


VALUE_AT_THE_GATE = Programme(
    22_050,
    "5.0",
    (
        *((2.919683636203267, -39.0), (2.0, None), (0.6875, -32.5), (4.688471542306822, None)),
        *((3.1640625, -15.1796875), (1.0859375, -32.0), (0.25, -1.9375)),
    ),
    np.float32,
    129,
)
"""One of its few short-term values lies at the relative gate, and the next one far from it."""

levels = st.one_of(st.floats(-40.0, -1.0), st.floats(-75.0, -30.0), st.none())
others = st.lists(st.tuples(st.floats(0.02, 4.0), levels), max_size=3)
bursts = st.builds(
    lambda before, long, after: (*before, long, *after),
    others,
    st.tuples(st.floats(3.1, 5.0), levels),  # so that S and the range have something to say
    others,
)
programmes = st.builds(
    Programme,
    rate_hz=st.sampled_from(RATES_HZ),
    layout=st.sampled_from(sorted(WEIGHTS)),
    bursts=bursts,
    dtype=st.sampled_from([np.float32, np.float64]),
    seed=st.integers(0, 2**32 - 1),
)
block_sizes = st.builds(
    lambda small, large: [*small, large],  # one large block a round bounds the number of pushes
    st.lists(st.one_of(st.integers(1, 64), st.integers(65, 5000)), max_size=5),
    st.integers(5_000, 200_000),
)


def audible(loudness):
    """What lies far under the absolute gate is rounding, not loudness."""
    return max(float(loudness), -100.0)


@pytest.mark.slow
@pytest.mark.parametrize("rate_hz", RATES_HZ)
@settings(bounded, max_examples=8)
@example(VALUE_AT_THE_GATE, [5000])
@given(programme=programmes, sizes=block_sizes)
def test_streaming_reads_what_the_whole_file_holds(rate_hz, programme, sizes):
    """I within 0.001 LU, LRA within 0.05 LU, M, S and max M within 0.01 LU of the definitions."""
    programme = dataclasses.replace(programme, rate_hz=rate_hz)
    reading = programme.played(sizes).reading()
    whole = programme.definition

    assert reading.integrated == pytest.approx(whole.integrated, abs=0.001)
    assert any(
        pytest.approx(whole.loudness_range_gated(shift_lu), abs=0.05) == reading.loudness_range
        for shift_lu in (0.0, -CLASS_LU, CLASS_LU)
    )
    momentary, short_term = whole.windows(0.4, 0.01), whole.windows(3.0, 0.01)
    assert audible(reading.momentary) == pytest.approx(audible(momentary[-1]), abs=0.01)
    assert audible(reading.short_term) == pytest.approx(audible(short_term[-1]), abs=0.01)
    assert audible(reading.max_momentary) == pytest.approx(audible(max(momentary)), abs=0.01)
    assert reading.seconds == pytest.approx(len(whole.frames) / programme.rate_hz, abs=1e-6)


@pytest.mark.slow
@bounded
@given(programmes, block_sizes)
def test_max_short_term_lies_between_the_coarsest_grid_and_every_frame(programme, sizes):
    """Tech 3341 §2.2: S is due at least each 100 ms, so max S lies between that and every frame's."""
    reading = programme.played(sizes).reading()
    whole = programme.definition

    assert audible(max(whole.windows(3.0, 0.1))) - 0.01 <= audible(reading.max_short_term)
    assert audible(max(whole.windows(3.0, None))) + 0.01 >= audible(reading.max_short_term)


@pytest.mark.slow
@bounded
@example(Programme(8_000, "5.0", ((3.328125, None), (0.5, -1.0)), np.float32, 0), [5000])  # ends within a hop
@given(programmes, block_sizes)
def test_the_end_of_a_file_adds_its_silence_to_the_range_alone(programme, sizes):
    """Tech 3342 §5: finish() gives LRA 1.5 s of silence; what else was read stays, peaks may only rise."""
    meter = programme.played(sizes)
    live = meter.reading()
    meter.finish()
    file = meter.reading()

    expected_range = programme.definition.followed_by_silence(1.5).loudness_range
    assert file.loudness_range == pytest.approx(expected_range, abs=0.05)
    for name in (*LOUDNESSES, "sample_peak"):
        assert getattr(live, name) == getattr(file, name), name
    assert live.seconds == file.seconds
    assert all(after >= before for before, after in zip(live.true_peak, file.true_peak, strict=True))


@pytest.mark.slow
@bounded
@given(programmes, block_sizes, block_sizes)
def test_block_sizes_make_no_difference(programme, one, other):
    """The same frames in any two cuts give the same reading."""
    first = programme.played(one).reading()
    second = programme.played(other).reading()

    for name in LOUDNESSES:
        assert getattr(second, name) == pytest.approx(getattr(first, name), abs=1e-6), name
    assert second.loudness_range == pytest.approx(first.loudness_range, abs=1e-6)
    assert second.true_peak == pytest.approx(first.true_peak, abs=1e-4)
    assert first.sample_peak == second.sample_peak
    assert first.seconds == second.seconds


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_a_burst_at_the_very_start_fills_its_share_of_a_window(rate_hz):
    """Tech 3341 §2.2: M is 0.4 s and S 3 s long, at the start too: they are not means of what came so far."""
    programme = Programme(rate_hz, "stereo", ((0.05, -10.0), (4.0, None)), np.float32, 3341)
    reading = programme.played([rate_hz // 97]).reading()
    whole = programme.definition

    assert reading.max_momentary == pytest.approx(max(whole.windows(0.4, 0.01)), abs=0.01)
    assert reading.max_short_term == pytest.approx(max(whole.windows(3.0, 0.01)), abs=0.01)


@pytest.mark.parametrize("values", range(2, 45))
def test_the_percentiles_of_the_range_are_those_of_the_formula(values):
    """Tech 3342 §5: of n values the ones at round((n − 1)·p/100 + 1), whether or not that is a half."""
    quiet_first = ((3.0, -40.0), *[(0.1, -40.0 + 0.4 * k) for k in range(values - 1)])
    programme = Programme(8_000, "mono", quiet_first, np.float64, values)

    assert (programme.played([4000]).reading().loudness_range) == pytest.approx(
        programme.definition.loudness_range, abs=0.05
    )


@pytest.mark.slow
def test_frame_by_frame_is_the_same_programme():
    """Blocks of a single frame, the smallest there are, give the reading of one block."""
    programme = Programme(8_000, "stereo", ((3.2, -20.0), (0.4, None), (0.5, -12.0)), np.float32, 3341)

    whole = programme.played([len(programme.frames)]).reading()
    single = programme.played([1]).reading()

    assert single.integrated == pytest.approx(whole.integrated, abs=1e-9)
    assert single.true_peak == pytest.approx(whole.true_peak, abs=1e-6)
    assert whole.loudness_range == single.loudness_range


def test_any_layout_in_memory_is_read_the_same():
    """Frames that are a slice, reversed or Fortran-ordered in memory measure as their values do."""
    frames = Programme(48_000, "stereo", ((4.0, -20.0),), np.float32, 1770).frames
    wide = np.zeros((2 * len(frames), 4), np.float32)
    wide[::2, 1:3] = frames

    readings = []
    for same in (frames, wide[::2, 1:3], np.asfortranarray(frames), frames[::-1].copy()[::-1]):
        meter = Meter(sample_rate=48_000, layout="stereo")
        meter.push(same)
        readings.append(meter.reading())

    expected = [True] * 3
    assert [a == b for a, b in itertools.pairwise(readings)] == expected
