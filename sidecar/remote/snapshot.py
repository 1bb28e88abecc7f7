"""Decodes received messages into a snapshot, by the rows of the address table."""

from __future__ import annotations

from typing import Any, get_args

from sidecar.model.readings import ALERT_NAMES, Alert, Reading
from sidecar.model.snapshot import Snapshot, Transport
from sidecar.osc.codec import level_of
from sidecar.osc.table.addresses import ALERT_STATES, OUTGOING
from sidecar.osc.table.screen_addresses import DETAILS, Fields
from sidecar.remote.received import NOT_ALWAYS, ReceivedMessages

_NEEDED = tuple(
    row.path for row in OUTGOING if row.group in ("reading", "alert", "run") and row.path not in NOT_ALWAYS
) + tuple(row.path for row in DETAILS)

_STATES = {number: state for state, number in ALERT_STATES.items()}
_OF_THE_READING = ("range_is_stable", "bad_samples")


def snapshot_of(received: ReceivedMessages) -> Snapshot | None:
    """Returns the run's snapshot; None until every address of it was received."""
    if not all(path in received for path in _NEEDED):
        return None
    details: Fields = {}
    for row in DETAILS:
        details |= row.decode(received.several(row.path) if row.is_numbered else [received.one(row.path)])
    of_reading = {name: details.pop(name) for name in _OF_THE_READING}
    transport = received.one("/transport")[0]
    return Snapshot(
        transport=transport if transport in get_args(Transport) else "waiting",
        reading=_reading(received, of_reading),
        alerts=tuple(_alert(received, name) for name in ALERT_NAMES),
        fader_db=level_of(received.one("/fader/now")[0]),
        dropped_samples=received.one("/dropped")[0],
        script_fault=received.one("/script/fault")[0],
        beat=received.one("/heartbeat")[0],
        **details,
    )


def _reading(received: ReceivedMessages, details: Fields) -> Reading:
    def level(path: str) -> float:
        return level_of(received.one(path)[0])

    return Reading(
        momentary=level("/momentary"),
        short_term=level("/short-term"),
        integrated=level("/integrated"),
        loudness_range=received.one("/range")[0],
        max_momentary=level("/max/momentary"),
        max_short_term=level("/max/short-term"),
        true_peak=tuple(map(level_of, received.one("/peak/channels"))),
        max_true_peak=level("/peak/true"),
        sample_peak=level("/peak/sample"),
        seconds=received.one("/seconds")[0],
        held_peak=tuple(map(level_of, received.one("/peak/held"))),
        channel_peak=tuple(map(level_of, received.one("/peak/now"))),
        short_term_peak=level("/peak/short-term"),
        correlation=next(iter(received.one("/correlation")), None),
        mono_loss_db=level_of(received.one("/mono/loss")[0]),
        **details,
    )


def _alert(received: ReceivedMessages, name: Any) -> Alert:
    state, value, limit = received.one(f"/alert/{name}")
    return Alert(name, _STATES.get(state, "on"), level_of(value), limit)
