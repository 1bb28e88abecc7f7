"""Requests of one client and the answers to it: the second half of the address table."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from sidecar.osc.table.screen_addresses import GOAL

DropReason = Literal[
    "sender", "rate", "size", "broken", "address", "argument", "failed", "full", "slow", "idle"
]


@dataclass(frozen=True, slots=True)
class Exchange:
    """An address of a request, or of an answer that goes to its sender only."""

    path: str
    tags: str
    """OSC type tags as in the other tables; what may be left out is in brackets."""
    sentence: str


SERVICES: tuple[Exchange, ...] = (
    Exchange(
        "/watch",
        "[s*][f]",
        "send me these groups, addresses or patterns (without any, all), and readings so many times a second",
    ),
    Exchange("/verified", "i", "from another machine over UDP: the number of /verify; then watch again"),
    Exchange("/unwatch", "", "send me nothing more"),
    Exchange(
        "/history",
        "ii",
        "to watchers: the history from that column on, so many columns (640 at most a time)",
    ),
    Exchange("/events", "i", "to watchers: the events from that place on"),
    Exchange("/goals", "", "to watchers: every goal that can be chosen"),
)
ANSWERS: tuple[Exchange, ...] = (
    Exchange(
        "/watching", "ffi", "the lease in seconds, readings a second, how many addresses; 0 0 0 at the end"
    ),
    Exchange(
        "/verify",
        "i",
        "to an address elsewhere, over UDP: send that number with /verified, then repeat the request",
    ),
    Exchange("/history/size", "iii", "number of the pass, new after each reset; its columns, its events"),
    Exchange(
        "/history/part",
        "iib",
        "pass, first column, and three 32-bit floats a column, 100 ms each: short-term, integrated, fader",
    ),
    Exchange(
        "/event",
        "iifss",
        "pass, place, seconds, kind (alert, marker, dialogue, move, gap, goal, pause), its text",
    ),
    Exchange("/goals/goal", "ii" + GOAL.tags, f"place, how many; {GOAL.sentence}"),
    Exchange("/error", "ss", "the address that was refused, and why"),
)
DROPS: dict[DropReason, str] = {
    "sender": "packets from senders that are not allowed; they get no answer",
    "rate": "packets and answers beyond the rate of one sender",
    "size": "packets that are too large",
    "broken": "packets that are not OSC",
    "address": "messages to an unknown address, or to one without a value",
    "argument": "messages with arguments that do not fit",
    "failed": "commands that failed",
    "full": "watches and connections beyond the most there may be",
    "slow": "connections that were closed because their data was not read",
    "idle": "connections that were closed because nothing arrived over them",
}
"""Counters since the start, read at ``/drops/`` and the reason."""


def drop_path(reason: DropReason) -> str:
    """Returns the path of that reason's counter, below the root."""
    return f"/drops/{reason}"
