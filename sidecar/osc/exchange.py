"""What passes between the sidecar and one asker alone: the table's other half."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from sidecar.osc.screen_addresses import GOAL

DropReason = Literal[
    "sender", "rate", "size", "broken", "address", "argument", "failed", "full", "slow", "idle"
]


@dataclass(frozen=True, slots=True)
class Exchange:
    """An address for one asker or one answer, which goes to nobody else."""

    path: str
    tags: str
    """OSC type tags as in the other tables; what may be left out stands in brackets."""
    sentence: str


SERVICES: tuple[Exchange, ...] = (
    Exchange(
        "/subscribe",
        "[s*][f]",
        "send me these groups, addresses or patterns (all without any), readings so many times a second",
    ),
    Exchange("/verified", "i", "from elsewhere over UDP: the number of /verify; then subscribe again"),
    Exchange("/renew", "", "go on for another lease"),
    Exchange("/unsubscribe", "", "send me nothing more"),
    Exchange(
        "/course",
        "ii",
        "to subscribers: the course from that column on, so many columns (640 at most a time)",
    ),
    Exchange("/events", "i", "to subscribers: what happened, from the event of that place on"),
    Exchange("/goals", "", "to subscribers: every goal that can be chosen"),
)
ANSWERS: tuple[Exchange, ...] = (
    Exchange(
        "/subscribed", "ffi", "the lease in seconds, readings a second, how many addresses; 0 0 0 at the end"
    ),
    Exchange(
        "/verify",
        "i",
        "to an address elsewhere, over UDP: send that number with /verified, then ask again",
    ),
    Exchange("/course/size", "iii", "which pass it is, another after each reset; its columns, its events"),
    Exchange(
        "/course/part",
        "iib",
        "pass, first column, and three 32-bit floats a column, 100 ms each: short-term, integrated, fader",
    ),
    Exchange("/event", "iifss", "pass, place, seconds, kind (alert, mark, move, gap, goal, pause), text"),
    Exchange("/goals/goal", "ii" + GOAL.tags, f"place, how many; {GOAL.sentence}"),
    Exchange("/error", "ss", "the address that was not obeyed, and why"),
)
DROPS: dict[DropReason, str] = {
    "sender": "packets from senders that are not allowed; they get no answer",
    "rate": "packets and answers beyond what one sender may have",
    "size": "packets that are too large",
    "broken": "packets that are no OSC",
    "address": "messages to an address that is none, or has nothing to tell",
    "argument": "messages with arguments that do not fit",
    "failed": "commands that were understood and could not be carried out",
    "full": "subscriptions and connections beyond the most there may be",
    "slow": "connections that were closed because nobody read them",
    "idle": "connections that were closed because nothing came over them",
}
"""Counters since the start, asked for at ``/drops/`` and the reason."""


def drop_path(reason: DropReason) -> str:
    """Where the counter of that reason is asked for, below the root."""
    return f"/drops/{reason}"
