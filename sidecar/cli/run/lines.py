"""A run as lines on the standard output: JSON for scripts, a line a second or one that is read out for
people."""

from __future__ import annotations

import math
import os
import re
import sys
from collections.abc import Callable
from typing import Any, TextIO

from sidecar.loudness.dialogue_guides import briefly, in_words
from sidecar.loudness.limits import is_over, is_under
from sidecar.model.alert_sentences import alert_sentence
from sidecar.model.dialogue import dialogue_fields
from sidecar.model.foreign_text import printable_json
from sidecar.model.headline import ALL_STEMS, SEVERAL_STEMS, chosen, chosen_move, stem_gains_db
from sidecar.model.readings import Alert, Reading
from sidecar.model.snapshot import ArmState, Event, Outlet, Snapshot, Transport
from sidecar.model.units import clock, figure, json_number
from sidecar.settings.goals import Goal

_NOTICE_BEATS = 5
"""Seconds that a notice stays in a line that is rewritten in place. Ours."""
_LONGEST_NOTICE = 100
"""Characters of a notice that is read out. Ours."""


def unless_it_never_began(lines: Outlet) -> Outlet:
    """Returns *lines* without the end of a run that nothing was measured in: its error is printed alone."""
    has_begun = False

    def take(snapshot: Snapshot) -> None:
        nonlocal has_begun
        has_begun = has_begun or snapshot.transport not in {"preparing", "ended"}
        if has_begun or snapshot.transport == "preparing" or not snapshot.notice:
            lines(snapshot)

    return take


class JsonLines:
    """One JSON object a line: each reading and marker; each new move, alert, arm state and notice."""

    def __init__(self, events: Callable[[], tuple[Event, ...]] = tuple) -> None:
        """events: returns those of the present pass, oldest first."""
        self._events = events
        self._known: tuple[Event, ...] | None = None
        """The events that were looked at; None before the first look: a resumed pass begins with some."""
        self._notice = ""
        self._move: tuple[object, ...] = ()
        """What was printed of the latest move; landing and likely range alone are no other move."""
        self._alerts: tuple[Alert, ...] = ()
        self._arm: ArmState | None = None

    def __call__(self, snapshot: Snapshot) -> None:
        if snapshot.transport == "preparing":
            return
        reading = snapshot.reading
        _print_object(
            type="reading",
            transport=snapshot.transport,
            source=snapshot.source,
            seconds=round(reading.seconds, 3),
            momentary_lufs=json_number(reading.momentary),
            short_term_lufs=json_number(reading.short_term),
            integrated_lufs=json_number(reading.integrated),
            loudness_range_lu=json_number(reading.loudness_range),
            max_momentary_lufs=json_number(reading.max_momentary),
            max_short_term_lufs=json_number(reading.max_short_term),
            max_true_peak_dbtp=json_number(reading.max_true_peak),
            true_peak_dbtp=[json_number(peak) for peak in reading.true_peak],
            held_peak_dbtp=[json_number(peak) for peak in reading.held_peak],
            channel_peak_dbtp=[json_number(peak) for peak in reading.channel_peak],
            sample_peak_dbfs=json_number(reading.sample_peak),
            plr_lu=json_number(reading.plr_lu),
            psr_lu=json_number(reading.psr_lu),
            correlation=None if reading.correlation is None else json_number(reading.correlation),
            mono_loss_db=json_number(reading.mono_loss_db),
            bad_samples=reading.bad_samples,
            dropped_samples=snapshot.dropped_samples,
            fader_db=json_number(snapshot.fader_db),
            **({"dialogue": dialogue_fields(snapshot.dialogue)} if snapshot.dialogue else {}),
            goal=snapshot.goal.name,
        )
        self._print_move(snapshot)
        self._print_alerts(snapshot)
        self._print_arm_state(snapshot)
        self._print_markers()
        if snapshot.notice != self._notice:
            self._notice = snapshot.notice
            _print_object(type="notice", seconds=round(reading.seconds, 3), text=snapshot.notice)

    def _print_move(self, snapshot: Snapshot) -> None:
        fader, move = chosen_move(snapshot)
        gains_db, advice = stem_gains_db(snapshot.stems), snapshot.advice
        shown = (fader, advice.state, move.gain_db, gains_db, move.limited_by, advice.more_to_come)
        if shown == self._move:
            return
        self._move = shown
        reading = snapshot.reading
        look_s = advice.next_look_in_s(reading.seconds)
        _print_object(
            type="move",
            seconds=round(reading.seconds, 3),
            state=advice.state,
            this_pass=chosen(snapshot).scope == "this pass",
            fader=fader,
            gain_db=move.gain_db,
            **({"stem_gains_db": gains_db} if gains_db else {}),
            landing_lufs=json_number(move.landing),
            landing_low_lufs=json_number(move.landing_low),
            landing_high_lufs=json_number(move.landing_high),
            from_top_db=advice.from_top.gain_db,
            more_to_come=advice.more_to_come,
            restart_fader_db=advice.restart_fader_db,
            range_widened_lu=json_number(advice.range_widened_lu),
            next_look_s=None if look_s is None else round(look_s, 1),
            limited_by=move.limited_by,
            reason=move.reason,
        )

    def _print_alerts(self, snapshot: Snapshot) -> None:
        before = {alert.name: alert.state for alert in self._alerts}
        for alert in snapshot.alerts:
            if alert.state != before.get(alert.name, "off"):
                _print_object(
                    type="alert",
                    seconds=round(snapshot.reading.seconds, 3),
                    name=alert.name,
                    state=alert.state,
                    value=json_number(alert.value),
                    limit=alert.limit,
                )
        self._alerts = snapshot.alerts

    def _print_arm_state(self, snapshot: Snapshot) -> None:
        if snapshot.arm is None or snapshot.arm == self._arm:
            return
        self._arm = snapshot.arm
        _print_object(
            type="arm",
            seconds=round(snapshot.reading.seconds, 3),
            surface=snapshot.arm.surface,
            is_armed=snapshot.arm.is_armed,
            is_waiting=snapshot.arm.is_waiting,
            text=snapshot.arm.sentence,
        )

    def _print_markers(self) -> None:
        known, events = self._known, self._events()
        self._known = events
        if known is None:
            return
        is_same_pass = bool(known and events and known[0] is events[0])
        for event in events[len(known) if is_same_pass else 0 :]:
            if event.kind == "marker":
                _print_object(type="marker", seconds=round(event.seconds, 3), label=event.text)
            elif event.kind == "dialogue":
                _print_object(type="dialogue", seconds=round(event.seconds, 3), label=event.text)


class PlainLines:
    """A line a second, and one for each notice, arm state, alert and move that is new."""

    def __init__(self) -> None:
        self._beat = -1
        self._latest: tuple[str, ...] = ("", "", "")
        self._alerts: frozenset[str] = frozenset()
        self._advice: tuple[object, ...] = ()
        """What the sentence on the move was made of."""

    def __call__(self, snapshot: Snapshot) -> None:
        advice = snapshot.transport, snapshot.advice, snapshot.stems, snapshot.goal
        is_same, self._advice = advice == self._advice, advice
        move = self._latest[-1] if is_same else _move_and_reason(snapshot)
        sentences = snapshot.notice, _about_arming(snapshot), move
        for sentence, before in zip(sentences, self._latest, strict=True):
            if sentence and sentence != before:
                print(sentence, flush=True)
        self._latest = sentences
        self._print_alerts(snapshot)
        is_over = snapshot.transport == "ended"
        if (snapshot.beat == self._beat and not is_over) or snapshot.transport == "preparing":
            return
        self._beat = snapshot.beat
        print(levels(snapshot), flush=True)

    def _print_alerts(self, snapshot: Snapshot) -> None:
        on = {alert.name: alert for alert in snapshot.alerts if alert.state == "on"}
        for name in on.keys() - self._alerts:
            print(f"{clock(snapshot.reading.seconds)} {alert_sentence(on[name])}", flush=True)
        self._alerts = frozenset(on)


def _move_and_reason(snapshot: Snapshot) -> str:
    """The move with its landing, once there is one, and the reason; nothing while the meter is prepared. Once
    the pass is over the reason is left out, unless something limits the move: it only repeats the figures."""
    if snapshot.transport == "preparing":
        return ""
    move = chosen_move(snapshot)[1]
    if snapshot.is_pass_over and move.limited_by is None:
        return f"{_whose(snapshot)}{_heading(snapshot)}." if math.isfinite(move.landing) else ""
    heading = f"{_heading(snapshot)}. " if math.isfinite(move.landing) else ""
    return f"{_whose(snapshot)}{heading}{move.reason}".rstrip()


def levels(snapshot: Snapshot) -> str:
    """Returns a run's levels in one line: time, integrated, short-term, momentary, true peak, alerts."""
    reading = snapshot.reading
    state = "" if snapshot.transport == "measuring" else f" {snapshot.transport},"
    alerts = ", ".join(alert.name for alert in snapshot.alerts if alert.state != "off")
    return (
        f"{clock(reading.seconds)}{state} integrated {figure(reading.integrated)} {snapshot.goal.unit}, "
        f"short-term {figure(reading.short_term)}, momentary {figure(reading.momentary)}, "
        f"peak {figure(reading.max_true_peak)} dBTP{_dialogue_in(snapshot)}"
        f"{f'; alerts: {alerts}' if alerts else ''}"
    )


def _dialogue_in(snapshot: Snapshot) -> str:
    return f"; {in_words(snapshot.dialogue, snapshot.goal)}" if snapshot.dialogue else ""


class SpokenLine:
    """One line that changes, for screen readers: whole sentences, the move first, no graphics.

    On a terminal it is rewritten in place and keeps to one row; into a pipe each change is a line. It changes
    once a second at most, and only where its text is new. A notice is said once, behind the move.
    """

    def __init__(self, out: TextIO | None = None) -> None:
        """out: where to; the standard output unless another is given."""
        self._out = out or sys.stdout
        self._in_place = self._out.isatty()
        self._beat = self._notice_until = -1
        self._latest = self._body = self._notice = self._arming = ""

    def __call__(self, snapshot: Snapshot) -> None:
        self._say_arming(_about_arming(snapshot))
        if snapshot.beat == self._beat and snapshot.transport != "ended":
            return
        self._beat = snapshot.beat
        is_news = snapshot.notice not in ("", self._notice)
        if is_news:
            self._notice_until = snapshot.beat + (_NOTICE_BEATS if self._in_place else 0)
        self._notice = snapshot.notice
        body, before = spoken(snapshot), self._body
        self._body = body
        if self._in_place:
            notice = brief(self._notice) if is_news or snapshot.beat < self._notice_until else ""
            is_last = snapshot.transport == "ended"
            longest = None if is_last else self._columns()  # nothing is written over the last one
            self._rewrite(spoken(snapshot, notice, longest), is_last=is_last)
        elif is_news or body != before:
            self._out.write(f"{spoken(snapshot, brief(self._notice) if is_news else '')}\n")
        self._out.flush()

    def _say_arming(self, sentence: str) -> None:
        """Writes a sentence about arming, whole and in a line of its own, once and at once."""
        if sentence in {"", self._arming}:
            return
        self._arming = sentence
        blank = " " * len(self._latest) if self._in_place else ""
        self._out.write(f"\r{blank}\r{sentence}\n" if blank else f"{sentence}\n")
        self._latest = ""
        self._out.flush()

    def _rewrite(self, line: str, *, is_last: bool) -> None:
        if line != self._latest:
            blank = " " * max(0, len(self._latest) - len(line))
            self._out.write(f"\r{line}{blank}")
            self._latest = line
        if is_last:
            self._out.write("\n")

    def _columns(self) -> int:
        """Characters that find room in a row; the last column is left free, where terminals wrap."""
        try:
            return max(os.get_terminal_size(self._out.fileno()).columns, 20) - 1
        except OSError:
            return 79


def spoken(snapshot: Snapshot, notice: str = "", longest: int | None = None) -> str:
    """Returns a run in sentences that a screen reader can read out.

    notice: said behind the move. longest: characters that find room; whole sentences are left out first, the
    true peak before the integrated loudness.
    """
    if snapshot.transport == "preparing":
        return _shortened(brief(snapshot.notice) or "Preparing.", longest)
    reading, goal = snapshot.reading, snapshot.goal
    is_measured = math.isfinite(reading.integrated)
    on = [alert_sentence(alert) for alert in snapshot.alerts if alert.state == "on"]
    parts = {
        "transport": _SPOKEN[snapshot.transport],
        "move": f"{_whose(snapshot)}{_heading(snapshot)}.",
        "notice": notice,
        "integrated": f"Integrated {figure(reading.integrated)} {goal.unit}, {_beside(reading, goal)}."
        if is_measured
        else "",
        "peak": f"True peak {figure(reading.max_true_peak)} dBTP." if is_measured else "",
        "dialogue": briefly(snapshot.dialogue, goal) if snapshot.dialogue else "",
        "alert": f"Alert: {'; '.join(on)}." if on else "",
    }
    for least in ("peak", "dialogue", "integrated"):
        if longest is not None and len(_joined(parts)) > longest:
            parts[least] = ""
    if longest is not None and len(_joined(parts)) > longest and on:
        parts["alert"] = f"Alert: {'; '.join(said.partition(':')[0] for said in on)}."
    return _shortened(_joined(parts), longest)


def brief(notice: str) -> str:
    """Returns the first statement of a notice, without the lists and remedies that follow it."""
    first = re.split(r"(?<=[.!?])\s+|[;:]\s", notice, maxsplit=1)[0]
    first = _shortened(first, _LONGEST_NOTICE)
    return first if not first or first[-1] in ".!?…" else f"{first}."


def _joined(parts: dict[str, str]) -> str:
    return " ".join(part for part in parts.values() if part)


def _shortened(text: str, longest: int | None) -> str:
    return text if longest is None or len(text) <= longest else f"{text[: longest - 1].rstrip()}…"


def _about_arming(snapshot: Snapshot) -> str:
    """Returns whether the sidecar may move the fader, why not any more, and the caution, as the run says."""
    return snapshot.arm.sentence if snapshot.arm else ""


def _whose(snapshot: Snapshot) -> str:
    """Returns the words before a move: after the end of a pass, that it is for the next one."""
    return "For the next pass: " if snapshot.is_pass_over else ""


_SPOKEN: dict[Transport, str] = {
    "preparing": "",
    "waiting": "No audio arrives.",
    "ready": "Ready. Waiting for sound.",
    "measuring": "",
    "paused": "Paused.",
    "ended": "Ended.",
}


def _heading(snapshot: Snapshot) -> str:
    """The move with its fader, or the moves of several stems, and where they land."""
    fader, move = chosen_move(snapshot)
    moved = {name: gain_db for name, gain_db in stem_gains_db(snapshot.stems).items() if gain_db}
    if fader == SEVERAL_STEMS:
        faders = "Stems"
        moves = ", ".join(f"{name} {_change(gain_db)}" for name, gain_db in moved.items())
    else:
        faders = fader.capitalize() if fader == ALL_STEMS else f"{fader.capitalize()} fader"
        moves = _change(move.gain_db)
    if not math.isfinite(move.landing):
        return f"{faders}: listening"
    rises = any(gain_db > 0.0 for gain_db in moved.values() or [move.gain_db])
    caution = ", turn monitors down first" if rises else ""
    return f"{faders}: {moves}{caution}; lands at {figure(move.landing)} {snapshot.goal.unit}"


def _change(gain_db: float) -> str:
    if gain_db == 0.0:
        return "stay"
    return f"{'up' if gain_db > 0.0 else 'down'} {figure(abs(gain_db))} dB"


def _beside(reading: Reading, goal: Goal) -> str:
    """How the programme compares with the goal, in words."""
    integrated = round(reading.integrated, 1)
    offset_lu = round(integrated - goal.target_lufs, 1)
    if not (is_under(integrated, goal.lowest_lufs) or is_over(integrated, goal.highest_lufs)):
        return "on the goal"
    return f"{figure(abs(offset_lu))} LU {'over' if offset_lu > 0.0 else 'under'} the goal"


def _print_object(**fields: Any) -> None:
    print(printable_json(fields), flush=True)
