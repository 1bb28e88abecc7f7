"""What a screen draws besides: a run told in full. The part of the table that only who asks for it is sent.

Each row always has something to tell, so that a receiver who missed what was before knows what holds now. Of
what there may be several of, each has a message of its own with its place and how many there are; where there
is none, one message says so.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal, TypeVar

from sidecar.model.readings import Move, Ride
from sidecar.model.snapshot import ArmState, EarlierPass, Opening, Snapshot, Stem, Target
from sidecar.osc.codec import Value, clipped
from sidecar.settings.goals import Goal

Item = TypeVar("Item")
Arguments = tuple[Value, ...]

NO_LIMIT = 120.0
"""Where a goal sets no limit: what infinity is on the wire."""

SENTENCE_BYTES, NAME_BYTES = 480, 200
"""What a text may take, so that each message fits in one datagram (``wire.LARGEST_DATAGRAM``)."""


@dataclass(frozen=True, slots=True, eq=False)
class Detail:
    """An address of the group ``detail``. Each row is only ever itself."""

    path: str
    tags: str
    sentence: str
    messages: Callable[[Snapshot], tuple[Arguments, ...]]
    """The arguments of each message."""
    group: Literal["detail"] = "detail"


GOAL_TAGS = "ssss" + "f" * 9
GOAL_SENTENCE = (
    "name, title, unit, source; target, tolerance below and above, ceiling, hot line, its hold time, highest "
    "short-term, highest momentary, guide for the range; 120 where there is none"
)
_MOVE_TAGS = "ffffss"
_MOVE_SENTENCE = "gain, landing, low and high end of its band, limit, reason"
_NO_MOVE = Move()


def goal_arguments(goal: Goal) -> Arguments:
    """A goal whole, as ``GOAL_TAGS`` has it."""
    limits = (goal.max_short_term_lufs, goal.max_momentary_lufs, goal.range_guide_lu)
    return (
        *(clipped(text, NAME_BYTES) for text in (goal.name, goal.title, goal.unit, goal.source)),
        goal.target_lufs,
        goal.tolerance_below_lu,
        goal.tolerance_above_lu,
        goal.ceiling_dbtp,
        goal.hot_lufs,
        goal.hot_hold_s,
        *(NO_LIMIT if limit is None else limit for limit in limits),
    )


def _move(move: Move) -> Arguments:
    return (
        move.gain_db,
        move.landing,
        move.landing_low,
        move.landing_high,
        move.limited_by or "none",
        clipped(move.reason, SENTENCE_BYTES),
    )


def _this_pass(snapshot: Snapshot) -> Arguments:
    move = snapshot.this_pass
    return int(move is not None), *_move(move or _NO_MOVE)


def _source(snapshot: Snapshot) -> Arguments:
    return (
        clipped(snapshot.source, NAME_BYTES),
        snapshot.rate_hz,
        clipped(snapshot.layout, NAME_BYTES),
        snapshot.duration_s or 0.0,
    )


def _earlier(snapshot: Snapshot) -> Arguments:
    earlier = snapshot.earlier_pass or EarlierPass("", False, 0.0, 0.0)
    return (
        int(snapshot.earlier_pass is not None),
        clipped(earlier.title, NAME_BYTES),
        int(earlier.fits),
        earlier.offset_s,
        earlier.error_db,
    )


def _hand(snapshot: Snapshot) -> Arguments:
    hand = snapshot.hand or ArmState("", False, "")
    return (
        int(snapshot.hand is not None),
        int(hand.is_armed),
        clipped(hand.surface, NAME_BYTES),
        clipped(hand.sentence, SENTENCE_BYTES),
    )


def _stem(stem: Stem) -> Arguments:
    return clipped(stem.name, NAME_BYTES), stem.fader_db, stem.true_peak, *_move(stem.move)


def _opening(opening: Opening) -> Arguments:
    return clipped(opening.name, NAME_BYTES), opening.fader_db, clipped(opening.reason, SENTENCE_BYTES)


def _ride(ride: Ride) -> Arguments:
    return ride.start_s, ride.length_s, ride.gain_db, ride.ramp_s


def _target(target: Target) -> Arguments:
    return (
        clipped(target.name, NAME_BYTES),
        target.sent,
        target.failed,
        clipped(target.fault, SENTENCE_BYTES),
    )


def _one(read: Callable[[Snapshot], Arguments]) -> Callable[[Snapshot], tuple[Arguments, ...]]:
    return lambda snapshot: (read(snapshot),)


def numbered(arguments: Sequence[Arguments]) -> tuple[Arguments, ...]:
    """Each with its place from 0 and how many there are in front."""
    return tuple((place, len(arguments), *one) for place, one in enumerate(arguments))


def _each(
    items: Callable[[Snapshot], Sequence[Item]], read: Callable[[Item], Arguments], blank: Arguments
) -> Callable[[Snapshot], tuple[Arguments, ...]]:
    """*blank* tells that there is none."""
    return lambda snapshot: numbered([read(item) for item in items(snapshot)]) or ((0, 0, *blank),)


DETAILS: tuple[Detail, ...] = (
    Detail(
        "/detail/reading",
        "ii",
        "1 once the range is stable; bad samples since the reset",
        _one(lambda s: (int(s.reading.range_is_stable), s.reading.bad_samples)),
    ),
    Detail("/detail/goal", GOAL_TAGS, GOAL_SENTENCE, _one(lambda s: goal_arguments(s.goal))),
    Detail(
        "/detail/source",
        "sisf",
        "where the sound comes from, its rate in Hz, its layout, the length of the pass in s or 0",
        _one(_source),
    ),
    Detail(
        "/detail/next",
        _MOVE_TAGS,
        f"the programme's move for the next pass: {_MOVE_SENTENCE}",
        _one(lambda s: _move(s.next_pass)),
    ),
    Detail(
        "/detail/this",
        "i" + _MOVE_TAGS,
        f"1 where there is one for the pass that plays; {_MOVE_SENTENCE}",
        _one(_this_pass),
    ),
    Detail(
        "/detail/holds",
        "i",
        "1 where the sidecar itself moves the fader",
        _one(lambda s: (int(s.holds_fader),)),
    ),
    Detail(
        "/detail/hand",
        "iiss",
        "1 where a surface is connected; 1 while armed, surface, what was last said",
        _one(_hand),
    ),
    Detail(
        "/detail/earlier",
        "isiff",
        "1 where an earlier pass is the forecast; its title, 1 where it fits, offset in s, error in dB",
        _one(_earlier),
    ),
    Detail(
        "/detail/stem",
        "iisff" + _MOVE_TAGS,
        f"one a stem: place, how many; name, fader, true peak, {_MOVE_SENTENCE}",
        _each(lambda s: s.stems, _stem, ("", 0.0, 0.0, *_move(_NO_MOVE))),
    ),
    Detail(
        "/detail/opening",
        "iisfs",
        "one a step of the rough balance: place, how many; stem, fader, reason",
        _each(lambda s: s.build_up, _opening, ("", 0.0, "")),
    ),
    Detail(
        "/detail/ride",
        "iiffff",
        "one a ride: place, how many; start, length, gain, ramp",
        _each(lambda s: s.rides, _ride, (0.0, 0.0, 0.0, 0.0)),
    ),
    Detail(
        "/detail/rides",
        "s",
        "why there are these rides, or none",
        _one(lambda s: (clipped(s.rides_reason, SENTENCE_BYTES),)),
    ),
    Detail(
        "/detail/target",
        "iisiis",
        "one a place OSC goes to: place, how many; name, sent, failed, fault",
        _each(lambda s: s.targets, _target, ("", 0, 0, "")),
    ),
    Detail(
        "/detail/guess",
        "s",
        "a question about a move nobody told of, or nothing",
        _one(lambda s: (clipped(s.guess, SENTENCE_BYTES),)),
    ),
    Detail(
        "/detail/notice",
        "s",
        "the latest thing worth saying, or nothing",
        _one(lambda s: (clipped(s.notice, SENTENCE_BYTES),)),
    ),
)


def content(snapshot: Snapshot) -> tuple[object, ...]:
    """What a change of the details is told by. What is counted up all the time is no change."""
    return (
        snapshot.reading.range_is_stable,
        snapshot.reading.bad_samples,
        snapshot.goal,
        snapshot.source,
        snapshot.rate_hz,
        snapshot.layout,
        snapshot.duration_s,
        snapshot.next_pass,
        snapshot.this_pass,
        snapshot.holds_fader,
        snapshot.hand,
        snapshot.earlier_pass,
        snapshot.stems,
        snapshot.build_up,
        snapshot.rides,
        snapshot.rides_reason,
        tuple((target.name, target.fault) for target in snapshot.targets),
        snapshot.guess,
        snapshot.notice,
    )
