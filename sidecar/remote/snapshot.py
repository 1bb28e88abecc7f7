"""What was told, as a snapshot: the table's reading the other way round."""

from __future__ import annotations

from typing import Any, cast, get_args

from sidecar.model.readings import ALERT_NAMES, SILENCE, Alert, Limit, Move, Reading, Ride
from sidecar.model.snapshot import ArmState, EarlierPass, Opening, Snapshot, Stem, Target, Transport
from sidecar.osc.addresses import ALERT_STATES, OUTGOING
from sidecar.osc.codec import WIRE_SILENCE
from sidecar.osc.screen_addresses import DETAILS, NO_LIMIT
from sidecar.remote.received import Arguments, ReceivedMessages
from sidecar.settings.goals import Goal

_NEEDED = tuple(
    row.path for row in OUTGOING if row.group in ("reading", "alert", "run") and not row.tags.endswith("*")
) + tuple(row.path for row in DETAILS)

_STATES = {number: state for state, number in ALERT_STATES.items()}


def picture(told: ReceivedMessages) -> Snapshot | None:
    """The run as it was told; None before all of it was."""
    if not all(path in told for path in _NEEDED):
        return None
    source, rate_hz, layout, duration_s = told.one("/detail/source")
    is_known, *this_pass = told.one("/detail/this")
    transport = told.one("/transport")[0]
    return Snapshot(
        transport=transport if transport in get_args(Transport) else "waiting",
        goal=goal_of(told.one("/detail/goal")),
        reading=_reading(told),
        next_pass=_move(told.one("/detail/next")),
        this_pass=_move(this_pass) if is_known else None,
        alerts=tuple(_alert(told, name) for name in ALERT_NAMES),
        fader_db=_level(told.one("/fader/now")[0]),
        holds_fader=bool(told.one("/detail/holds")[0]),
        source=source,
        rate_hz=rate_hz,
        layout=layout,
        duration_s=duration_s or None,
        lost_frames=told.one("/lost")[0],
        targets=tuple(Target(*target) for target in told.several("/detail/target")),
        stems=tuple(map(_stem, told.several("/detail/stem"))),
        build_up=tuple(Opening(*opening) for opening in told.several("/detail/opening")),
        earlier_pass=_earlier(*told.one("/detail/earlier")),
        hand=_hand(*told.one("/detail/hand")),
        guess=told.one("/detail/guess")[0],
        rides=tuple(Ride(*ride) for ride in told.several("/detail/ride")),
        rides_reason=told.one("/detail/rides")[0],
        beat=told.one("/heartbeat")[0],
        notice=told.one("/detail/notice")[0],
    )


def goal_of(arguments: Arguments) -> Goal:
    """A goal from what ``details.goal_arguments`` makes of one."""
    name, title, unit, source, target, below, above, ceiling, hot, hold_s, *limits = arguments
    short_term, momentary, range_lu = (None if limit == NO_LIMIT else limit for limit in limits)
    return Goal(
        name=name,
        title=title,
        target_lufs=target,
        tolerance_below_lu=_level(below),
        tolerance_above_lu=_level(above),
        ceiling_dbtp=ceiling,
        hot_lufs=hot,
        hot_hold_s=hold_s,
        max_short_term_lufs=short_term,
        max_momentary_lufs=momentary,
        range_guide_lu=range_lu,
        unit="LKFS" if unit == "LKFS" else "LUFS",
        source=source,
    )


def _level(value: float) -> float:
    """A figure whose infinity the wire cannot carry."""
    if value == WIRE_SILENCE:
        return SILENCE
    return -SILENCE if value == -WIRE_SILENCE else value


def _reading(told: ReceivedMessages) -> Reading:
    is_stable, bad_samples = told.one("/detail/reading")
    return Reading(
        momentary=_level(told.one("/momentary")[0]),
        short_term=_level(told.one("/short-term")[0]),
        integrated=_level(told.one("/integrated")[0]),
        loudness_range=told.one("/range")[0],
        max_momentary=_level(told.one("/max/momentary")[0]),
        max_short_term=_level(told.one("/max/short-term")[0]),
        true_peak=tuple(map(_level, told.one("/peak/channels"))),
        max_true_peak=_level(told.one("/peak/true")[0]),
        sample_peak=_level(told.one("/peak/sample")[0]),
        seconds=told.one("/seconds")[0],
        range_is_stable=bool(is_stable),
        bad_samples=bad_samples,
    )


def _move(arguments: Any) -> Move:
    gain_db, landing, low, high, limit, reason = arguments
    limited_by = cast(Limit, limit) if limit in get_args(Limit) else None
    return Move(gain_db, _level(landing), _level(low), _level(high), limited_by, reason)


def _alert(told: ReceivedMessages, name: Any) -> Alert:
    state, value, limit = told.one(f"/alert/{name}")
    return Alert(name, _STATES.get(state, "on"), _level(value), limit)


def _stem(arguments: Arguments) -> Stem:
    name, fader_db, true_peak, *move = arguments
    return Stem(name, _level(fader_db), _move(move), _level(true_peak))


def _earlier(is_there: int, title: str, fits: int, offset_s: float, error_db: float) -> EarlierPass | None:
    return EarlierPass(title, bool(fits), offset_s, _level(error_db)) if is_there else None


def _hand(is_there: int, is_armed: int, surface: str, sentence: str) -> ArmState | None:
    return ArmState(surface, bool(is_armed), sentence) if is_there else None
