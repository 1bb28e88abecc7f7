"""The addresses that a remote screen needs: each row encodes a field of the snapshot and decodes it.

Each row always has a value to send, so that a receiver that missed earlier messages has the present state. A
field of several items is sent as one message an item, with its place and the number of items; an empty one
as one message with the number 0.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Generic, Literal, TypeVar, cast, get_args

from sidecar.model.advice import Advice, State
from sidecar.model.dialogue import DialogueLoudness, DialogueOrigin
from sidecar.model.readings import Limit, Move, Ride
from sidecar.model.snapshot import ArmState, EarlierPass, Opening, PastPass, Snapshot, Stem, Target
from sidecar.osc.codec import Value, clipped, level_of
from sidecar.settings.goals import Goal

T = TypeVar("T")
Arguments = tuple[Value, ...]
Fields = dict[str, Any]
"""Fields of a snapshot, or of its reading, by name."""

NO_LIMIT = 120.0
"""The value of a limit that a goal does not set: that of infinity on the wire."""

SENTENCE_BYTES, NAME_BYTES = 480, 200
"""Most bytes of a text, so that each message fits in one datagram (``codec.LARGEST_DATAGRAM``)."""


@dataclass(frozen=True, slots=True)
class Shape(Generic[T]):
    """The encoding of one type as arguments of a message; ``decode`` reverses ``encode``."""

    tags: str
    sentence: str
    encode: Callable[[T], Arguments]
    decode: Callable[..., T]
    """Takes the arguments one by one."""


@dataclass(frozen=True, slots=True, eq=False)
class Detail:
    """An address of the group ``detail``. Rows are compared by identity."""

    path: str
    tags: str
    sentence: str
    messages: Callable[[Snapshot], tuple[Arguments, ...]]
    """The arguments of each message."""
    decode: Callable[[Sequence[Arguments]], Fields]
    """The fields that the messages carry; of several, without place and count, in their order."""
    is_numbered: bool = False
    """Whether each message begins with its place from 0 and how many there are."""
    group: Literal["detail"] = "detail"


# --- the shapes -------------------------------------------------------------------------------


def _name(text: str) -> str:
    return clipped(text, NAME_BYTES)


def _sentence(text: str) -> str:
    return clipped(text, SENTENCE_BYTES)


def _goal_arguments(goal: Goal) -> Arguments:
    limits = (
        *(goal.max_short_term_lufs, goal.max_momentary_lufs, goal.range_guide_lu),
        *(goal.least_dialogue_lufs, goal.most_dialogue_lufs, goal.ldr_guide_lu),
    )
    return (
        *map(_name, (goal.name, goal.title, goal.unit, goal.source)),
        goal.target_lufs,
        goal.tolerance_below_lu,
        goal.tolerance_above_lu,
        goal.ceiling_dbtp,
        goal.hot_lufs,
        goal.hot_hold_s,
        *(NO_LIMIT if limit is None else limit for limit in limits),
    )


def _goal_of(  # noqa: PLR0913, PLR0917 - a goal as it is on the wire
    name: str,
    title: str,
    unit: str,
    source: str,
    target_lufs: float,
    below_lu: float,
    above_lu: float,
    ceiling_dbtp: float,
    hot_lufs: float,
    hot_hold_s: float,
    *limits: float,
) -> Goal:
    short_term, momentary, range_lu, *dialogue = (None if limit == NO_LIMIT else limit for limit in limits)
    least, most, ldr_lu = dialogue
    return Goal(
        name=name,
        title=title,
        target_lufs=target_lufs,
        tolerance_below_lu=level_of(below_lu),
        tolerance_above_lu=level_of(above_lu),
        ceiling_dbtp=ceiling_dbtp,
        hot_lufs=hot_lufs,
        hot_hold_s=hot_hold_s,
        max_short_term_lufs=short_term,
        max_momentary_lufs=momentary,
        range_guide_lu=range_lu,
        least_dialogue_lufs=least,
        most_dialogue_lufs=most,
        ldr_guide_lu=ldr_lu,
        unit="LKFS" if unit == "LKFS" else "LUFS",
        source=source,
    )


def _move_arguments(move: Move) -> Arguments:
    return (
        move.gain_db,
        move.landing,
        move.landing_low,
        move.landing_high,
        move.limited_by or "none",
        _sentence(move.reason),
    )


def _move_of(gain_db: float, landing: float, low: float, high: float, limit: str, reason: str) -> Move:
    limited_by = cast(Limit, limit) if limit in get_args(Limit) else None
    return Move(gain_db, level_of(landing), level_of(low), level_of(high), limited_by, reason)


def _optional(shape: Shape[T], blank: T, sentence: str) -> Shape[T | None]:
    """With 1 in front where there is one; else 0 and *blank*."""
    return Shape(
        "i" + shape.tags,
        sentence,
        lambda value: (int(value is not None), *shape.encode(blank if value is None else value)),
        lambda is_there, *arguments: shape.decode(*arguments) if is_there else None,
    )


GOAL = Shape(
    "ssss" + "f" * 12,
    "name, title, unit, source; target, tolerance below and above, ceiling, hot line, its hold time, highest "
    "short-term, highest momentary, guides for the range, the least and the most dialogue loudness, and LDR; "
    "120 where there is none",
    _goal_arguments,
    _goal_of,
)
_MOVE = Shape(
    "ffffss", "gain, landing, low and high end of its likely range, limit, reason", _move_arguments, _move_of
)
_NO_LOOK_S = -1.0
"""The value of a next look that does not follow."""


def _advice_arguments(advice: Advice) -> Arguments:
    look_s, restart_db = advice.next_look_at_s, advice.restart_fader_db
    return (
        advice.state,
        int(advice.lands_this_pass),
        _NO_LOOK_S if look_s is None else look_s,
        advice.trend,
        int(advice.more_to_come),
        NO_LIMIT if restart_db is None else restart_db,
        advice.range_widened_lu,
        *_short_move_arguments(advice.move),
        *_short_move_arguments(advice.from_top),
    )


def _short_move_arguments(move: Move) -> Arguments:
    """As :func:`_move_arguments`; two of them fit in one datagram."""
    return (*_move_arguments(move)[:-1], _name(move.reason))


def _advice_of(
    state: str,
    lands_this_pass: int,
    look_s: float,
    trend: int,
    more_to_come: int,
    restart_db: float,
    widened_lu: float,
    *moves: Any,
) -> Advice:
    middle = len(_MOVE.tags)
    return Advice(
        state=cast(State, state) if state in get_args(State) else "listening",
        move=_move_of(*moves[:middle]),
        from_top=_move_of(*moves[middle:]),
        lands_this_pass=bool(lands_this_pass),
        next_look_at_s=None if look_s == _NO_LOOK_S else look_s,
        trend=trend,
        more_to_come=bool(more_to_come),
        restart_fader_db=None if restart_db == NO_LIMIT else restart_db,
        range_widened_lu=widened_lu,
    )


_ADVICE = Shape(
    "sifiiff" + _MOVE.tags * 2,
    "state; 1 where it lands the pass that plays; time of the next look in s or -1; trend; 1 for a first "
    "step; "
    "fader to start again with or 120; LU the range was widened; twice, now and from the top: "
    f"{_MOVE.sentence}",
    _advice_arguments,
    _advice_of,
)
_ARM_STATE = _optional(
    Shape(
        "issifff",
        "",
        lambda state: (
            *(int(state.is_armed), _name(state.surface), _sentence(state.sentence), int(state.is_waiting)),
            *(state.step_up_db, state.total_up_db, state.rate_db_s),
        ),
        lambda is_armed, surface, sentence, is_waiting, *limits: ArmState(
            surface, bool(is_armed), sentence, bool(is_waiting), *limits
        ),
    ),
    ArmState("", False, ""),
    "1 where a surface is connected; 1 while armed, surface, the latest sentence about it, 1 while it waits "
    "for a fader position; most that one move raises, that all raise, and how fast, dB a second",
)
_EARLIER = _optional(
    Shape(
        "siff",
        "",
        lambda earlier: (_name(earlier.title), int(earlier.fits), earlier.offset_s, earlier.error_db),
        lambda title, fits, offset_s, error_db: EarlierPass(title, bool(fits), offset_s, level_of(error_db)),
    ),
    EarlierPass("", False, 0.0, 0.0),
    "1 where an earlier pass is the forecast; its title, 1 where it fits, offset in s, error in dB",
)
_STEM = Shape(
    "sff" + _MOVE.tags,
    f"name, fader, true peak, {_MOVE.sentence}",
    lambda stem: (_name(stem.name), stem.fader_db, stem.true_peak, *_move_arguments(stem.move)),
    lambda name, fader_db, true_peak, *move: Stem(
        name, level_of(fader_db), _move_of(*move), level_of(true_peak)
    ),
)
_OPENING = Shape(
    "sfs",
    "stem, fader, reason",
    lambda opening: (_name(opening.name), opening.fader_db, _sentence(opening.reason)),
    Opening,
)
_RIDE = Shape(
    "ffff",
    "start, length, gain, ramp",
    lambda ride: (ride.start_s, ride.length_s, ride.gain_db, ride.ramp_s),
    Ride,
)
_TARGET = Shape(
    "siisii",
    "name, sent, failed, fault, 1 for a screen elsewhere, 1 for a light",
    lambda target: (
        *(_name(target.name), target.sent, target.failed, _sentence(target.fault)),
        *(int(target.is_screen), int(target.is_light)),
    ),
    lambda name, sent, failed, fault, *kinds: Target(name, sent, failed, fault, *map(bool, kinds)),
)
_PAST_PASS = Shape(
    "isssffff",
    "number, when it began, source, goal, seconds, integrated, range, highest true peak",
    lambda past: (
        *(past.id, _name(past.began), _name(past.source), _name(past.goal), past.seconds),
        *(past.integrated, past.loudness_range, past.max_true_peak),
    ),
    lambda id, began, source, goal, seconds, integrated, loudness_range, peak: PastPass(
        id, began, source, goal, seconds, level_of(integrated), loudness_range, level_of(peak)
    ),
)
_NO_PASS = PastPass(0, "", "", "", 0.0, 0.0, 0.0, 0.0)
_TIMECODE: Shape[float | None] = Shape(
    "f",
    "time of day at which the programme began by its own timecode, in s; -1 where there is none",
    lambda start_s: (-1.0 if start_s is None else start_s,),
    lambda start_s: None if start_s < 0.0 else start_s,
)
_ORIGINS: tuple[DialogueOrigin, ...] = get_args(DialogueOrigin)
_DIALOGUE = _optional(
    Shape(
        "sfffffs",
        "",
        lambda found: (
            *(found.found_by, found.dialogue_lufs, found.programme_lufs, found.speech_s, found.seconds),
            *(found.confidence, _name(found.stem)),
        ),
        lambda found_by, dialogue_lufs, programme_lufs, *rest: DialogueLoudness(
            cast(DialogueOrigin, found_by) if found_by in _ORIGINS else "markers",
            *(level_of(dialogue_lufs), level_of(programme_lufs), *rest),
        ),
    ),
    DialogueLoudness("markers"),
    "1 where dialogue is measured; what it is known from (stem, detector or markers), dialogue and programme "
    "loudness, seconds with dialogue, seconds searched, confidence, stem",
)
_TEXT = Shape("s", "", lambda text: (_sentence(text),), str)
_FLAG = Shape("i", "", lambda flag: (int(flag),), bool)
_SOURCE_FIELDS = ("source", "rate_hz", "layout", "duration_s")


# --- the rows ---------------------------------------------------------------------------------


def numbered(arguments: Sequence[Arguments]) -> tuple[Arguments, ...]:
    """Returns each with its place from 0 and their number in front."""
    return tuple((place, len(arguments), *one) for place, one in enumerate(arguments))


def _one(path: str, field: str, shape: Shape[Any], sentence: str = "") -> Detail:
    """A row of one field."""
    return Detail(
        path,
        shape.tags,
        sentence or shape.sentence,
        lambda snapshot: (shape.encode(getattr(snapshot, field)),),
        lambda messages: {field: shape.decode(*messages[0])},
    )


def _each(path: str, field: str, shape: Shape[Any], sentence: str, blank: Any) -> Detail:
    """A row of one message for each item of a field; *blank* is sent where there is none."""
    return Detail(
        path,
        "ii" + shape.tags,
        f"{sentence}: place, how many; {shape.sentence}",
        lambda snapshot: (
            numbered([shape.encode(item) for item in getattr(snapshot, field)])
            or ((0, 0, *shape.encode(blank)),)
        ),
        lambda messages: {field: tuple(shape.decode(*arguments) for arguments in messages)},
        is_numbered=True,
    )


def _reading_row() -> Detail:
    return Detail(
        "/detail/reading",
        "ii",
        "1 once the range is stable; bad samples since the reset",
        lambda s: ((int(s.reading.range_is_stable), s.reading.bad_samples),),
        lambda messages: {"range_is_stable": bool(messages[0][0]), "bad_samples": messages[0][1]},
    )


def _source_row() -> Detail:
    return Detail(
        "/detail/source",
        "sisf",
        "where the sound comes from, its rate in Hz, its layout, the length of the pass in s or 0",
        lambda s: ((_name(s.source), s.rate_hz, _name(s.layout), s.duration_s or 0.0),),
        lambda messages: dict(zip(_SOURCE_FIELDS, (*messages[0][:3], messages[0][3] or None), strict=True)),
    )


DETAILS: tuple[Detail, ...] = (
    _reading_row(),
    _one("/detail/goal", "goal", GOAL),
    _source_row(),
    _one("/detail/advice", "advice", _ADVICE),
    _one("/detail/controls", "controls_fader", _FLAG, "1 where the sidecar itself moves the fader"),
    _one("/detail/auto", "arm", _ARM_STATE),
    _one("/detail/earlier", "earlier_pass", _EARLIER),
    _each("/detail/stem", "stems", _STEM, "one a stem", Stem("", 0.0, Move(), 0.0)),
    _each("/detail/opening", "build_up", _OPENING, "one a step of the rough balance", Opening("", 0.0, "")),
    _each("/detail/ride", "rides", _RIDE, "one a ride", Ride(0.0, 0.0, 0.0, 0.0)),
    _one("/detail/rides", "rides_reason", _TEXT, "why there are these rides, or none"),
    _each("/detail/target", "targets", _TARGET, "one a destination of OSC", Target("")),
    _each("/detail/pass", "passes", _PAST_PASS, "one a pass on record, the last one first", _NO_PASS),
    _one("/detail/dialogue", "dialogue", _DIALOGUE),
    _one(
        "/detail/dialogue/marked",
        "is_dialogue_marked",
        _FLAG,
        "1 from a marker where dialogue begins to the one where it ends",
    ),
    _one("/detail/timecode", "timecode_start_s", _TIMECODE),
    _one("/detail/notice", "notice", _TEXT, "the latest notice, or nothing"),
)


def content(snapshot: Snapshot) -> tuple[object, ...]:
    """Returns the values whose change counts as a change of the details; counters are left out."""
    return (
        snapshot.reading.range_is_stable,
        snapshot.reading.bad_samples,
        snapshot.goal,
        snapshot.source,
        snapshot.rate_hz,
        snapshot.layout,
        snapshot.duration_s,
        snapshot.advice,
        snapshot.controls_fader,
        snapshot.arm,
        snapshot.earlier_pass,
        snapshot.stems,
        snapshot.build_up,
        snapshot.rides,
        snapshot.rides_reason,
        tuple((target.name, target.fault) for target in snapshot.targets),
        snapshot.passes,
        snapshot.is_dialogue_marked,
        snapshot.notice,
    )
