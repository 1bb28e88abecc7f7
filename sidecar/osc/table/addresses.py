"""The OSC address space: one table, from which sending, receiving, discovery and the README's table are
made. Its paths are below a root, which each run may choose."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Literal

from sidecar.errors import NetworkError
from sidecar.model import commands
from sidecar.model.commands import Command
from sidecar.model.dialogue import DialogueLoudness
from sidecar.model.headline import chosen, chosen_move
from sidecar.model.readings import ALERT_NAMES, Alert, AlertName, AlertState, Move
from sidecar.model.snapshot import ArmState, Snapshot, Stem
from sidecar.osc.codec import Value

Group = Literal["reading", "move", "stems", "alert", "auto", "run", "mark", "detail"]

ROOT = "/sidecar"
"""The root of a run that is given no other."""
_ROOT_FORM = re.compile(r"(/[^ #*,/?\[\]{}]+)+")  # OSC 1.0, "OSC Address Spaces"
_LONGEST_ROOT = 64
"""Characters. Ours: each message still fits in one datagram (``wire.LARGEST_DATAGRAM``)."""

ALERT_STATES: dict[AlertState, int] = {"off": 0, "on": 1, "latched": 2}

RATES: dict[Group, str] = {
    "reading": "each update",
    "move": "on change, and once a second",
    "stems": "on change, and once a second, where stems are measured",
    "alert": "on change, and once a second",
    "auto": "on change, and once a second, where a surface is connected",
    "run": "on change, and once a second",
    "mark": "once, as it happens",
    "detail": "on change, and once a second, to watchers of the group `detail`",
}


def checked_root(text: str) -> str:
    """Returns *text* where it can be the root of addresses. Raises NetworkError where it cannot."""
    if text.isascii() and text.isprintable() and _ROOT_FORM.fullmatch(text) and len(text) <= _LONGEST_ROOT:
        return text
    raise NetworkError(
        f"'{text}' cannot be the root of OSC addresses: give one such as {ROOT} or /room/two. It has at "
        f"most {_LONGEST_ROOT} ASCII characters, without spaces or # * , ? [ ] {{ }}."
    )


@dataclass(frozen=True, slots=True, eq=False)
class Outgoing:
    """An address that the sidecar sends. Rows are compared by identity."""

    path: str
    """Below the root."""
    tags: str
    """OSC type tags; a trailing ``*`` repeats the last one."""
    unit: str
    group: Group
    sentence: str
    read: Callable[[Snapshot], tuple[Value, ...]]
    """Returns the arguments; none where the snapshot has no value, and then nothing is sent."""

    def messages(self, snapshot: Snapshot) -> tuple[tuple[Value, ...], ...]:
        """The arguments of the one message, or none."""
        values = self.read(snapshot)
        return (values,) if values else ()


@dataclass(frozen=True, slots=True)
class Incoming:
    """An address of a command."""

    path: str
    tags: str
    """OSC type tags; ``n`` is a name or a number: ``s``, ``i`` or a whole ``f``; ``i`` is 0 or 1."""
    unit: str
    low: float
    high: float
    """Range of a number; without meaning for text."""
    sentence: str
    command: Callable[..., Command]
    """Made from as many values as there are tags, in their order."""


def _hero(snapshot: Snapshot) -> Move:
    return chosen_move(snapshot)[1]


def _alert(name: AlertName) -> Callable[[Snapshot], tuple[Value, ...]]:
    def read(snapshot: Snapshot) -> tuple[Value, ...]:
        alert = next((a for a in snapshot.alerts if a.name == name), Alert(name))
        return ALERT_STATES[alert.state], alert.value, alert.limit

    return read


_ALERT_SENTENCES: dict[AlertName, str] = {
    "ceiling": "true peak above the ceiling, latched until acknowledged; value and limit in dBTP",
    "over": "integrated above the highest value that passes; value and limit in LUFS",
    "hot": "short-term above the hot line for its hold time; value, while on its highest, and limit in LUFS",
    "lost": "no audio arrives; value is seconds since the last, limit in seconds",
    "silent": "audio arrives and is silent; value is seconds of silence, limit in seconds",
}


def _readings() -> Iterator[Outgoing]:
    def add(
        path: str, unit: str, sentence: str, read: Callable[[Snapshot], tuple[Value, ...]], tags: str = "f"
    ) -> Outgoing:
        return Outgoing(path, tags, unit, "reading", sentence, read)

    yield add("/momentary", "LUFS", "momentary loudness, 0.4 s", lambda s: (s.reading.momentary,))
    yield add("/short-term", "LUFS", "short-term loudness, 3 s", lambda s: (s.reading.short_term,))
    yield add("/integrated", "LUFS", "gated loudness since the reset", lambda s: (s.reading.integrated,))
    yield add("/range", "LU", "loudness range since the reset", lambda s: (s.reading.loudness_range,))
    yield add("/max/momentary", "LUFS", "highest momentary", lambda s: (s.reading.max_momentary,))
    yield add("/max/short-term", "LUFS", "highest short-term", lambda s: (s.reading.max_short_term,))
    yield add("/peak/true", "dBTP", "highest true peak of all channels", lambda s: (s.reading.max_true_peak,))
    yield add(
        "/peak/channels",
        "dBTP",
        "highest true peak, one value a channel",
        lambda s: s.reading.true_peak,
        "f*",
    )
    yield add("/peak/sample", "dBFS", "highest sample", lambda s: (s.reading.sample_peak,))
    yield add(
        "/peak/held",
        "dBTP",
        "highest true peak since /peak/reset, one value a channel",
        lambda s: s.reading.held_peak,
        "f*",
    )
    yield add(
        "/peak/now",
        "dBTP",
        "highest true peak of the last 0.4 s, one value a channel",
        lambda s: s.reading.channel_peak,
        "f*",
    )
    yield add(
        "/peak/short-term",
        "dBTP",
        "highest true peak of all channels in the last 3 s",
        lambda s: (s.reading.short_term_peak,),
    )
    yield add("/plr", "LU", "highest true peak less integrated loudness", lambda s: (s.reading.plr_lu,))
    yield add(
        "/psr",
        "LU",
        "highest true peak less short-term loudness, of the last 3 s",
        lambda s: (s.reading.psr_lu,),
    )
    yield add(
        "/correlation",
        "",
        "of the first two channels over the last second, −1 to +1; nothing is sent in mono or silence",
        lambda s: () if s.reading.correlation is None else (s.reading.correlation,),
    )
    yield add(
        "/mono/loss",
        "dB",
        "by how much the mono sum was softer over the last 3 s: above 3 dB, channels cancel",
        lambda s: (s.reading.mono_loss_db,),
    )
    yield from _dialogue()
    yield add("/seconds", "s", "programme measured since the reset", lambda s: (s.reading.seconds,))


def _dialogue() -> Iterator[Outgoing]:
    def add(path: str, unit: str, sentence: str, read: Callable[[DialogueLoudness], float]) -> Outgoing:
        def value(snapshot: Snapshot) -> tuple[Value, ...]:
            return () if snapshot.dialogue is None else (read(snapshot.dialogue),)

        return Outgoing(path, "f", unit, "reading", f"{sentence}; where dialogue is measured", value)

    yield add(
        "/dialogue/loudness",
        "LUFS",
        "gated loudness of the dialogue",
        lambda d: d.dialogue_lufs,
    )
    yield add("/dialogue/ldr", "LU", "integrated less dialogue loudness (LDR)", lambda d: d.ldr_lu)
    yield add("/dialogue/share", "", "share of the time with dialogue, 0 to 1", lambda d: d.speech_share)
    yield add(
        "/dialogue/confidence",
        "",
        "average confidence of automatic detection where it found speech, 0 to 1; else 1",
        lambda d: d.confidence,
    )


def _one_value(group: Group) -> Callable[..., Outgoing]:
    """Makes rows of a group whose addresses carry a single value."""

    def add(path: str, tags: str, unit: str, sentence: str, read: Callable[[Snapshot], Value]) -> Outgoing:
        return Outgoing(path, tags, unit, group, sentence, lambda s: (read(s),))

    return add


def _moves() -> Iterator[Outgoing]:
    add = _one_value("move")
    yield add(
        "/move/pass",
        "s",
        "",
        "which pass it lands: this or next",
        lambda s: "this" if chosen(s).scope == "this pass" else "next",
    )
    yield add(
        "/move/fader",
        "s",
        "",
        "which fader: master, a stem's name, several stems or all stems",
        lambda s: chosen_move(s)[0],
    )
    yield add(
        "/move/gain",
        "f",
        "dB",
        "the move, negative is down; for several stems their common one, or 0",
        lambda s: _hero(s).gain_db,
    )
    yield add(
        "/move/landing", "f", "LUFS", "where the programme lands after the move", lambda s: _hero(s).landing
    )
    yield add("/move/low", "f", "LUFS", "low end of the likely range (90 %)", lambda s: _hero(s).landing_low)
    yield add(
        "/move/high", "f", "LUFS", "high end of the likely range (90 %)", lambda s: _hero(s).landing_high
    )
    yield add(
        "/move/limit",
        "s",
        "",
        "what limits it: none, ceiling, step or range",
        lambda s: _hero(s).limited_by or "none",
    )
    yield add("/move/reason", "s", "", "the reason in a sentence", lambda s: _hero(s).reason)


def _stems() -> Iterator[Outgoing]:
    def add(path: str, tags: str, unit: str, sentence: str, read: Callable[[Stem], Value]) -> Outgoing:
        return Outgoing(path, tags, unit, "stems", sentence, lambda s: tuple(read(stem) for stem in s.stems))

    yield add("/stems/names", "s*", "", "the stems, one value each, as in the rows below", lambda s: s.name)
    yield add("/stems/faders", "f*", "dB", "positions of their faders, as far as known", lambda s: s.fader_db)
    yield add("/stems/moves", "f*", "dB", "the move of each that lands the mix", lambda s: s.move.gain_db)
    yield add("/stems/peaks", "f*", "dBTP", "highest true peaks since the reset", lambda s: s.true_peak)


def _auto() -> Iterator[Outgoing]:
    def add(path: str, tags: str, sentence: str, read: Callable[[ArmState], Value]) -> Outgoing:
        return Outgoing(path, tags, "", "auto", sentence, lambda s: (read(s.arm),) if s.arm else ())

    yield add("/auto/armed", "i", "1 while the sidecar may move the fader, else 0", lambda h: int(h.is_armed))
    yield add("/auto/surface", "s", "the surface of the fader", lambda h: h.surface)
    yield add("/auto/notice", "s", "the latest sentence about arming", lambda h: h.sentence)


def _run() -> Iterator[Outgoing]:
    add = _one_value("run")
    yield add(
        "/transport",
        "s",
        "",
        "preparing, waiting (no audio arrives), ready (for the first sound), measuring, paused or ended",
        lambda s: s.transport,
    )
    yield add("/source", "s", "", "the input or file that is measured", lambda s: s.source)
    yield add("/goal/name", "s", "", "the present goal", lambda s: s.goal.name)
    yield add("/goal/target", "f", "LUFS", "its target", lambda s: s.goal.target_lufs)
    yield add(
        "/goal/lowest",
        "f",
        "LUFS",
        "lowest integrated that passes; −120 where there is none",
        lambda s: s.goal.lowest_lufs,
    )
    yield add("/goal/highest", "f", "LUFS", "highest integrated that passes", lambda s: s.goal.highest_lufs)
    yield add("/goal/ceiling", "f", "dBTP", "its true-peak ceiling", lambda s: s.goal.ceiling_dbtp)
    yield add("/fader/now", "f", "dB", "the master fader, as far as known", lambda s: s.fader_db)
    yield add("/dropped", "i", "samples", "samples dropped since the start", lambda s: s.dropped_samples)
    yield add(
        "/script/fault",
        "s",
        "",
        "why a script of --on failed, until acknowledged; empty otherwise",
        lambda s: s.script_fault,
    )
    yield add("/heartbeat", "i", "", "counts up once a second", lambda s: s.beat)


OUTGOING: tuple[Outgoing, ...] = (
    *_readings(),
    *_moves(),
    *_stems(),
    *(
        Outgoing(
            f"/alert/{name}",
            "iff",
            "",
            "alert",
            f"0 off, 1 on, 2 latched: {_ALERT_SENTENCES[name]}",
            _alert(name),
        )
        for name in ALERT_NAMES
    ),
    *_auto(),
    *_run(),
)
MARKED = Outgoing(
    "/marked",
    "fs",
    "",
    "mark",
    "a marker, as it is set: its time in the programme, s, and its label",
    lambda _snapshot: (),
)
"""An event: it has no present value that could be read."""
SENT = (*OUTGOING, MARKED)

INCOMING: tuple[Incoming, ...] = (
    Incoming("/start", "", "", 0, 0, "continue after a pause (as continue)", commands.Start),
    Incoming("/pause", "", "", 0, 0, "pause the integrated measures", commands.Pause),
    Incoming("/continue", "", "", 0, 0, "continue after a pause", commands.Continue),
    Incoming("/reset", "", "", 0, 0, "start a new programme", commands.Reset),
    Incoming("/peak/reset", "", "", 0, 0, "reset the held peaks only", commands.ResetPeaks),
    Incoming("/goal", "s", "", 0, 0, "use the goal of that name", commands.SelectGoal),
    Incoming(
        "/earlier",
        "s",
        "",
        0,
        0,
        "forecast from the pass of that number on record, last or none",
        commands.SelectEarlierPass,
    ),
    Incoming("/mark", "s", "", 0, 0, "set a marker with that label here", commands.Mark),
    Incoming("/dialogue", "i", "", 0, 1, "1 where dialogue begins, 0 where it ends", commands.MarkDialogue),
    Incoming(
        "/acknowledge",
        "",
        "",
        0,
        0,
        "acknowledge the latched alert or the failed script",
        commands.Acknowledge,
    ),
    Incoming(
        "/fader",
        "f",
        "dB",
        -120.0,
        20.0,
        "position of the master fader; where the sidecar moves it, its new position",
        commands.FaderAt,
    ),
    Incoming(
        "/nudge",
        "f",
        "dB",
        -40.0,
        40.0,
        "a move of the master fader, made or, where the sidecar moves it, to make",
        commands.Nudge,
    ),
    Incoming(
        "/stem/fader",
        "nf",
        "dB",
        -120.0,
        20.0,
        "position of a stem's fader, by its name or its number from 1",
        commands.StemFaderAt,
    ),
    Incoming("/arm", "", "", 0, 0, "allow automatic moves of the master fader", commands.Arm),
    Incoming("/disarm", "", "", 0, 0, "end automatic moves", commands.Disarm),
    Incoming(
        "/follow", "", "", 0, 0, "make the advised move, where the sidecar moves the fader", commands.Follow
    ),
)
