"""Where a programme begins: READY before its first sound, and what is held back until then."""

import numpy as np
import pytest

from sidecar.model.commands import Pause, Reset
from sidecar.run.first_sound import FirstSound
from sidecar.run.metering import Metering
from sidecar.run.options import RunOptions
from sidecar.run.session import Session
from sidecar.settings.goals import load_goal
from sidecar.sources import Block

RATE_HZ = 48_000


def tone(seconds, level_db):
    """Tech 3341 §2.9: an in-phase stereo sine of 1 kHz reads its peak level in LUFS."""
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    left = 10 ** (level_db / 20) * np.sin(2 * np.pi * 1000 * t)
    return np.stack([left, left], axis=1).astype(np.float32)


class Recorded:
    """A source of frames, in blocks of the size that a device may give."""

    title, rate_hz, channels = "recorded", RATE_HZ, 2

    def __init__(self, *parts, block=1_111):
        self._parts, self._block = parts, block
        self.duration_s = None

    def blocks(self):
        for part in self._parts:
            if callable(part):
                part()
                continue
            for at in range(0, len(part), self._block):
                yield Block(part[at : at + self._block])

    def close(self):
        pass


def run(*parts, from_first_sound=True, **more):
    """Every snapshot of a run; a part may be a callable that takes the session."""
    seen = []
    held = []
    parts = [(lambda part=part: part(held[0])) if callable(part) else part for part in parts]
    options = RunOptions(load_goal("r128"), fast=True, from_first_sound=from_first_sound, **more)
    held.append(Session(Recorded(*parts), options, outlets=[seen.append]))
    held[0].run()
    return seen


@pytest.mark.parametrize("level_db", [-200.0, -71.0])
@pytest.mark.parametrize("from_first_sound", [True, False])
def test_before_the_first_sound_above_the_gate_the_run_says_ready(level_db, from_first_sound):
    seen = run(tone(2.0, level_db), tone(2.0, -23.0), from_first_sound=from_first_sound)
    said = list(dict.fromkeys(snapshot.transport for snapshot in seen))

    assert said == ["preparing", "ready", "measuring", "ended"]


def test_pre_roll_does_not_count():
    """3.03 s of noise floor, then 4 s of programme: as if it had been measured alone."""
    alone = run(tone(4.0, -23.0), from_first_sound=False)[-1].reading
    after = run(tone(3.03, -75.0), tone(4.0, -23.0))[-1].reading

    assert after.seconds == pytest.approx(4.03, abs=0.011)  # from the start of its 100 ms
    assert after.integrated == pytest.approx(alone.integrated, abs=0.05)
    assert after.max_true_peak == pytest.approx(alone.max_true_peak, abs=0.05)


def test_without_the_option_everything_counts():
    reading = run(tone(3.0, -75.0), tone(4.0, -23.0), from_first_sound=False)[-1].reading

    assert reading.seconds == pytest.approx(7.0)


def test_a_length_that_was_given_counts_from_the_first_sound():
    """Playback is started by hand: what is silent before it is none of the 6 s."""
    seen = run(tone(3.0, -200.0), tone(6.0, -23.0), tone(2.0, -200.0), from_first_sound=False, duration_s=6.0)
    over = next(shot for shot in seen if shot.is_pass_over)

    assert over.transport == "measuring"
    assert 6.0 <= over.reading.seconds < 7.2  # advice is computed once a second
    assert over.reading.integrated == pytest.approx(-23.0, abs=0.2)  # the last blocks are half silent


def test_a_reset_waits_for_the_next_first_sound():
    seen = run(
        tone(2.0, -23.0),
        lambda session: session.submit(Reset()),
        tone(2.0, -90.0),
        tone(3.0, -20.0),
    )
    said = [snapshot.transport for snapshot in seen]
    reading = seen[-1].reading

    assert said.index("measuring") < len(said) - 1 - said[::-1].index("ready")
    assert reading.seconds == pytest.approx(3.0, abs=0.2)
    assert reading.integrated == pytest.approx(-20.0, abs=0.1)


def test_silence_before_the_first_sound_raises_no_alert():
    seen = run(tone(12.0, -200.0), tone(1.0, -23.0))
    without = run(tone(12.0, -200.0), tone(1.0, -23.0), from_first_sound=False)

    def silent(snapshots):
        return any(
            alert.state == "on" for shot in snapshots for alert in shot.alerts if alert.name == "silent"
        )

    assert (silent(seen), silent(without)) == (False, True)


def test_a_pause_holds_the_wait_for_sound():
    """What plays while it is paused is not the first sound."""
    seen = run(tone(1.0, -90.0), lambda session: session.submit(Pause()), tone(2.0, -23.0))

    assert seen[-1].reading.seconds == 0.0


@pytest.mark.parametrize("rate_hz", [8_000, 44_100, 48_000, 96_000])
@pytest.mark.parametrize("block", [97, 441, 4_800, 100_000])
def test_nothing_of_the_first_sound_is_missing_whatever_the_blocks(rate_hz, block):
    rng = np.random.default_rng(block)
    onset = round(0.337 * rate_hz)
    frames = np.zeros((round(0.6 * rate_hz), 2), np.float32)
    frames[onset:] = rng.uniform(-0.5, 0.5, (len(frames) - onset, 2))
    first = FirstSound(Metering(rate_hz, 2, None))
    at = 0
    given = frames[:0]
    while not len(given):
        given = first.push_frames(frames[at : at + block])
        at += block
    begin = min(at, len(frames)) - len(given)

    assert np.array_equal(given, frames[begin : begin + len(given)])
    assert onset - 0.1 * rate_hz - 1 <= begin <= onset
