"""Losses without a flag: frame counts against the clock, with the jitter that was measured."""

from collections.abc import Iterator

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sidecar.sources.losses import ClockLoss

RATE_HZ = 48_000


def arrivals(
    seconds: float,
    *,
    draw: int,
    drift_ppm: float = 0.0,
    bursts: bool = False,
    loss: tuple[float, int] = (0.0, 0),
) -> Iterator[tuple[int, float]]:
    """Frame counts and the times they are seen: blocks of 1 to 60 ms, −14 to +71 ms of jitter
    (measured on a virtual sound card), on request stalls of up to 0.9 s after which all comes at
    once. loss: the second, and the frames that vanish there.
    """
    noise = np.random.default_rng(draw)
    blocks = int(seconds / 0.03)
    ends_s = np.cumsum(noise.uniform(0.001, 0.06, blocks))
    seen_s = ends_s + noise.uniform(-0.014, 0.071, blocks)
    if bursts:
        for start in np.flatnonzero(noise.random(blocks) < 0.002):
            stalled = (ends_s >= ends_s[start]) & (ends_s < ends_s[start] + noise.uniform(0.1, 0.9))
            seen_s[stalled] = max(seen_s[stalled].max(), ends_s[stalled].max())
    seen_s = np.maximum.accumulate(seen_s)
    frames = np.floor(ends_s * RATE_HZ * (1 + drift_ppm * 1e-6)).astype(int)
    frames -= np.where(ends_s >= loss[0], loss[1], 0) if loss[1] else 0
    return zip(frames.tolist(), (1000.0 + seen_s).tolist(), strict=True)


def losses(stream: Iterator[tuple[int, float]]) -> list[int]:
    clock = ClockLoss(RATE_HZ)
    return [lost for frames, now_s in stream if (lost := clock.count_lost(frames, now_s))]


@pytest.mark.slow
@pytest.mark.parametrize("drift_ppm", [-200, 0, 200])
@pytest.mark.parametrize("bursts", [False, True], ids=["jitter", "bursts"])
def test_hours_of_jitter_and_drift_are_no_loss(drift_ppm, bursts):
    """In 4 h of late, early and bunched arrivals on a drifting clock nothing is reported."""
    assert losses(arrivals(4 * 3600, draw=drift_ppm + 1000, drift_ppm=drift_ppm, bursts=bursts)) == []


def test_a_busy_machine_is_no_loss():
    """Half a minute in which every block comes 20 to 71 ms late is jitter still: it goes over."""
    noise = np.random.default_rng(3)
    clock, found = ClockLoss(RATE_HZ), 0
    for block in range(1, 12_000):
        ends_s = 0.025 * block
        busy = ends_s % 60 > 30
        found += clock.count_lost(1200 * block, ends_s + noise.uniform(0.02 if busy else -0.014, 0.071))

    assert found == 0


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    draw=st.integers(0, 2**32 - 1),
    lost_ms=st.integers(60, 5000),
    at_s=st.floats(6.0, 30.0),
    drift_ppm=st.floats(-200, 200),
    bursts=st.booleans(),
)
def test_a_loss_of_60_ms_or_more_is_found_once_and_measured(draw, lost_ms, at_s, drift_ppm, bursts):
    """Any such loss in a jittering, drifting stream is reported within 20 ms of its true size."""
    lost = lost_ms * RATE_HZ // 1000
    found = losses(arrivals(60, draw=draw, drift_ppm=drift_ppm, bursts=bursts, loss=(at_s, lost)))

    assert lost == pytest.approx(sum(found), abs=0.02 * RATE_HZ)


def test_without_jitter_a_loss_is_exact_to_a_millisecond():
    """On a quiet machine, where blocks come every 25 ms to the dot, 100 lost ms read as 100 ms."""
    clock = ClockLoss(RATE_HZ)
    found = sum(
        clock.count_lost(1200 * block - (4800 if block > 400 else 0), 0.025 * block)
        for block in range(1, 1000)
    )

    assert found == pytest.approx(4800, abs=48)


def test_two_losses_are_told_apart():
    """A second loss counts from where the first left off."""
    clock = ClockLoss(RATE_HZ)
    lost = {400: 4800, 800: 9600}
    frames, found = 0, []
    for block in range(1, 1400):
        frames += 1200 - lost.get(block, 0)
        if newly := clock.count_lost(frames, 0.025 * block):
            found.append(newly)

    assert found == pytest.approx([4800, 9600], abs=48)


def test_a_stream_that_runs_slow_loses_frames_all_the_time():
    """One that delivers 44.1 kHz under the name of 48 kHz is not taken for a drifting clock."""
    clock = ClockLoss(RATE_HZ)
    found = sum(clock.count_lost(round(44_100 * 0.025 * block), 0.025 * block) for block in range(1, 2400))

    assert found == pytest.approx((48_000 - 44_100) * 60, rel=0.15)
