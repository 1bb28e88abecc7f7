"""The rehearsal behaves as a source with a fader should: exact gains, its own pace, a prompt end."""

from __future__ import annotations

import math
import threading
from itertools import islice

import numpy as np
import pytest

from sidecar.sources import FaderSource
from sidecar.sources.rehearsal import RehearsalSource

RATE_HZ = 48_000
STEP = 4_800


class FakeClock:
    """A clock that only sleeping moves; ``late_s`` is added to sleeps in turn."""

    def __init__(self, late_s=()):
        self.now_s = 100.0
        self.slept = []
        self._late_s = list(late_s)

    def __call__(self):
        return self.now_s

    def wait(self, seconds):
        self.slept.append(seconds)
        self.now_s += seconds + (self._late_s.pop(0) if self._late_s else 0.0)


def opening(seconds, **options):
    """The first blocks of a fresh rehearsal that goes as fast as it can."""
    return blocks_of(RehearsalSource(pace="fast", **options), seconds)


def blocks_of(source, seconds):
    wanted = round(seconds * RATE_HZ)
    result = []
    for block in source.blocks():
        result.append(block)
        wanted -= len(block.frames)
        if wanted <= 0:
            return result
    return result


def joined(blocks):
    return np.concatenate([block.frames for block in blocks])


@pytest.fixture(scope="module")
def unity():
    """The first two seconds with the fader at 0 dB."""
    return joined(opening(2.0))


def test_is_a_source_whose_fader_can_be_held():
    """The session may treat it like any source and may move its fader."""
    source = RehearsalSource()

    assert isinstance(source, FaderSource)
    assert (source.rate_hz, source.channels, source.duration_s) == (48_000, 2, 240.0)
    assert source.title.startswith("Rehearsal: ")


@pytest.mark.parametrize("block_frames", [1, 7, 1000, 4_800, 9_600])
def test_block_size_changes_nothing_but_the_blocks(unity, block_frames):
    """The frames are the same to the bit, whatever the size they are asked in."""
    blocks = opening(0.5, block_frames=block_frames)

    assert np.array_equal(unity[: RATE_HZ // 2], joined(blocks))
    assert max(len(block.frames) for block in blocks) == min(block_frames, STEP)


def test_frames_are_float32_in_two_columns():
    """A block looks as the contract of sources says, and belongs to its receiver."""
    first, second = opening(0.05)

    assert (np.dtype(np.float32), (1200, 2), 0) == (first.frames.dtype, first.frames.shape, first.lost)
    assert first.frames.flags.owndata
    assert not np.shares_memory(first.frames, second.frames)


@pytest.mark.slow
def test_two_rehearsals_at_once_do_not_touch_each_other(unity):
    """Playing another one in between changes no bit."""
    one, other = RehearsalSource(pace="fast"), RehearsalSource(pace="fast")
    pairs = list(islice(zip(one.blocks(), other.blocks(), strict=True), 40))

    assert np.array_equal(unity[:RATE_HZ], joined(first for first, _ in pairs))
    assert np.array_equal(unity[:RATE_HZ], joined(second for _, second in pairs))


def test_fader_travels_half_a_decibel_each_100_ms(unity):
    """Every 100 ms has one gain, said in each of its blocks and exactly applied."""
    source = RehearsalSource(pace="fast", block_frames=1000)
    source.move_fader(-2.2)
    blocks = blocks_of(source, 0.7)
    gains_db = np.concatenate([np.full(len(block.frames), block.gain_db) for block in blocks])

    assert pytest.approx(gains_db[::STEP].tolist()) == [-0.5, -1.0, -1.5, -2.0, -2.2, -2.2, -2.2]
    assert np.array_equal(np.repeat(gains_db[::STEP], STEP), gains_db)
    assert np.array_equal(
        unity[: len(gains_db)] * (10.0 ** (gains_db / 20.0)).astype(np.float32)[:, None], joined(blocks)
    )
    assert source.fader_db == pytest.approx(-2.2)


def test_a_move_takes_effect_at_the_next_100_ms():
    """A move in the middle of a block of 100 ms waits for its end; the fader says what is in force."""
    source = RehearsalSource(pace="fast")
    blocks = source.blocks()
    before = [next(blocks).gain_db for _ in range(2)]
    mover = threading.Thread(target=source.move_fader, args=(3.0,))
    mover.start()
    mover.join(timeout=10.0)
    at_once = source.fader_db
    after = [next(blocks).gain_db for _ in range(4)]

    assert before == [0.0, 0.0]
    assert at_once == 0.0
    assert after == [0.0, 0.0, 0.5, 0.5]
    assert source.fader_db == 0.5


@pytest.mark.parametrize(
    ("asked_db", "reached_db"),
    [(99.0, 10.0), (math.inf, 10.0), (-99.0, -60.0), (-math.inf, -60.0), (math.nan, 0.0)],
)
def test_fader_stops_at_its_ends(monkeypatch, asked_db, reached_db):
    """Out of range means the end of the travel, and not a number means stay; nothing is raised."""
    monkeypatch.setattr("sidecar.sources.rehearsal.fader.STEP_DB", 100.0)
    source = RehearsalSource(pace="fast")
    source.move_fader(asked_db)
    next(source.blocks())

    assert reached_db == source.fader_db


def test_real_pace_gives_each_block_when_its_last_frame_is_due():
    """The schedule is absolute: it hangs on the first moment, not on the block before."""
    clock = FakeClock()
    source = RehearsalSource(clock=clock, wait=clock.wait)
    given_s = [clock.now_s for _ in islice(source.blocks(), 40)]

    assert [100.0 + 0.025 * number for number in range(1, 41)] == pytest.approx(given_s, abs=1e-9)
    assert max(clock.slept) <= 0.1


def test_a_late_sleeper_catches_up_and_loses_nothing(unity):
    """After oversleeping by 0.3 s the missed blocks come at once, then the old schedule holds again."""
    clock = FakeClock(late_s=[0.0, 0.3])
    source = RehearsalSource(clock=clock, wait=clock.wait)
    blocks, given_s = [], []
    for block in islice(source.blocks(), 20):
        blocks.append(block)
        given_s.append(clock.now_s)

    assert np.array_equal(unity[: 20 * 1200], joined(blocks))
    assert all(block.lost == 0 for block in blocks)
    assert pytest.approx(given_s[1:14]) == [100.35] * 13
    assert pytest.approx(given_s[14:16]) == [100.375, 100.4]


def test_waking_early_is_not_early_audio():
    """A wait that returns too soon is taken up again."""
    clock = FakeClock(late_s=[-0.015])
    source = RehearsalSource(clock=clock, wait=clock.wait)
    next(source.blocks())

    assert clock.now_s == pytest.approx(100.025)
    assert pytest.approx(clock.slept) == [0.025, 0.015]


def test_close_ends_a_wait():
    """A source that would wait for ever ends soon after it is closed, from another thread, twice."""
    waiting = threading.Event()

    def stopped_clock():
        waiting.set()
        return 0.0

    source = RehearsalSource(clock=stopped_clock)
    player = threading.Thread(target=list, args=(source.blocks(),), daemon=True)
    player.start()
    assert waiting.wait(timeout=20.0)
    source.close()
    source.close()
    player.join(timeout=20.0)

    assert not player.is_alive()


@pytest.mark.parametrize("pace", ["real", "fast"])
def test_close_ends_the_blocks(pace):
    """No block comes after closing, not even the rest of 100 ms."""
    clock = FakeClock()
    source = RehearsalSource(pace=pace, clock=clock, wait=clock.wait)
    blocks = source.blocks()
    next(blocks)
    source.close()

    assert list(blocks) == []
    assert list(source.stem_slabs()) == []


def test_loop_starts_over(monkeypatch, unity):
    """A looping rehearsal has no end to land on, and its second pass is the first to the bit."""
    monkeypatch.setattr("sidecar.sources.rehearsal.source.DURATION_S", 0.5)
    source = RehearsalSource(pace="fast", loop=True)
    twice = joined(blocks_of(source, 1.0))

    assert source.duration_s is None
    assert np.array_equal(np.concatenate([unity[:24_000]] * 2), twice)


def test_ends_with_the_programme(monkeypatch):
    """Without looping the blocks end where the duration says."""
    monkeypatch.setattr("sidecar.sources.rehearsal.source.DURATION_S", 0.5)

    assert len(joined(RehearsalSource(pace="fast").blocks())) == 24_000


@pytest.mark.parametrize(("placed_db", "begins_db"), [(-5.6, -5.6), (14.0, 10.0)])
def test_a_fader_that_was_placed_is_there_in_the_first_block(placed_db, begins_db):
    source = RehearsalSource(pace="fast")
    source.place_fader(placed_db)
    first = next(iter(source.blocks()))
    source.close()

    assert (source.fader_db, first.gain_db) == (begins_db, begins_db)
