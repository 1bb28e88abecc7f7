"""Runs of exact zeros inside sound: found to the frame, reported only where sound was cut.

The places are those that the files here are made with.
"""

from itertools import pairwise

import numpy as np
import pytest
import soundfile

from sidecar.delivery.measure.facts import MOST_GAPS
from sidecar.delivery.measure.facts_keeper import FactsKeeper
from sidecar.delivery.measure.whole_file import measure
from sidecar.meter.interpolation import REACH

RATE_HZ = 48_000
BLOCK_FRAMES = 65_536


def noise(seconds=6.0, channels=2, level=0.1, seed=5):
    frames = level * np.random.default_rng(seed).standard_normal((round(seconds * RATE_HZ), channels))
    return np.where(frames == 0.0, level, frames)


def gaps_of(folder, frames, rate_hz=RATE_HZ, subtype="FLOAT", workers=1):
    soundfile.write(folder / "a.wav", frames, rate_hz, subtype=subtype)
    return measure(folder / "a.wav", workers=workers).facts.gaps


def places(gaps, rate_hz=RATE_HZ):
    return [(round(gap.start_s * rate_hz), round(gap.length_s * rate_hz), gap.channels) for gap in gaps]


@pytest.mark.parametrize("rate_hz", [8_000, 44_100, 48_000, 192_000])
def test_gaps_from_a_millisecond_up_are_found_to_the_frame(tmp_path, rate_hz):
    """One frame less than a millisecond is none; both sides are judged by their highest sample."""
    least = int(np.ceil(rate_hz / 1000))
    made = [(700 + 10 * least * k, least + k - 1, k % 3) for k in range(9)]
    frames = noise(100 * least / RATE_HZ + 0.5)
    for start, length, which in made:
        frames[start : start + length, [[0], [1], [0, 1]][which]] = 0.0
    found = gaps_of(tmp_path, frames, rate_hz)

    assert [(start, length, [(0,), (1,), (0, 1)][which]) for start, length, which in made[1:]] == places(
        found, rate_hz
    )
    start, length, _ = made[3]
    before = np.abs(frames[start - 12 : start, 0].astype(np.float32)).max()
    after = np.abs(frames[start + length : start + length + 12, 0].astype(np.float32)).max()
    assert [
        found[2].before_dbfs,
        found[2].after_dbfs,
    ] == pytest.approx(20 * np.log10([before, after]), abs=1e-4)


@pytest.mark.parametrize("workers", [1, 4])
def test_a_gap_is_found_wherever_reading_is_cut(tmp_path, workers):
    """From 40 frames before a seam of reading, or of stretches measured side by side, to 40 behind it."""
    rng = np.random.default_rng(8)
    seams = [BLOCK_FRAMES * k for k in range(1, 7)] + [5 * RATE_HZ * k for k in range(2, 8)]
    frames = noise(41.0)
    made = []
    for seam in seams:
        start, length = seam + rng.integers(-90, 40), int(rng.integers(48, 90))
        frames[start : start + length, seam % 2] = 0.0
        made.append((start, length, (seam % 2,)))

    assert sorted(made) == places(gaps_of(tmp_path, frames, workers=workers))


def test_however_frames_are_cut_the_gaps_are_the_same():
    """Pushed whole, in random pieces down to a single frame, and in keepers that are joined."""
    rng = np.random.default_rng(9)
    frames = noise(0.5)
    for start in rng.integers(0, len(frames), 60):
        frames[start : start + rng.integers(1, 400), rng.integers(2)] = 0.0
    whole = kept(frames, [0, len(frames)])
    assert len(whole) > 10

    for seed in range(20):
        cuts = np.random.default_rng(seed).integers(1, len(frames), 40)
        cuts = [0, *sorted({*cuts.tolist(), *(cuts[:20] + 1).tolist()} & {*range(len(frames))}), len(frames)]
        assert whole == kept(frames, cuts)
        assert whole == kept(frames, cuts, joined=True)


def kept(frames, cuts, joined=False):
    """The gaps of frames that are pushed piece by piece, each behind what came before it."""
    samples = np.pad(frames.T.astype(np.float32), ((0, 0), (REACH, 0)))
    before = np.empty((2, 0), np.float32)
    keeper = FactsKeeper(0, RATE_HZ, 1.0, before)
    for start, stop in pairwise(cuts):
        one = FactsKeeper(start, RATE_HZ, 1.0, before) if joined else keeper
        one.add_frames(np.ascontiguousarray(samples[:, start : stop + REACH]))
        if joined:
            keeper.join(one)
    return keeper.facts("", "").gaps


def test_zeros_at_the_ends_of_a_file_are_no_gaps(tmp_path):
    """Nor is a file that is silent, nor zeros with the last few samples behind them."""
    frames = noise(1.0)
    frames[:1000] = frames[-1000:] = 0.0
    almost = noise(1.0)
    almost[-100:-3] = 0.0

    assert gaps_of(tmp_path, frames) == ()
    assert gaps_of(tmp_path, np.zeros((RATE_HZ, 2))) == ()
    assert gaps_of(tmp_path, almost) == ()


def test_quiet_sound_in_few_bits_has_no_gaps(tmp_path):
    """A tone of one step in 8 and in 16 bits rests on zero for a millisecond in each period of 10."""
    t = np.arange(RATE_HZ) / RATE_HZ
    for subtype, step in (("PCM_U8", 2**-7), ("PCM_16", 2**-15)):
        tone = step * np.sin(2 * np.pi * 100 * t)[:, None]
        assert gaps_of(tmp_path, tone, subtype=subtype) == ()


@pytest.mark.slow
def test_of_very_many_gaps_the_first_are_kept(tmp_path):
    """11 900 cuts of a millisecond, in both channels at slightly different places, are 10 000 gaps."""
    frames = noise(30.0)
    at = 120 * (np.arange(11_900) + 1)[:, None] + np.arange(50)
    frames[at, 0] = frames[at + 3, 1] = 0.0
    found = gaps_of(tmp_path, frames, workers=4)

    assert len(found) == MOST_GAPS
    assert places(found)[-1] == (120 * MOST_GAPS, 53, (0, 1))
    assert found == gaps_of(tmp_path, frames, workers=1)
