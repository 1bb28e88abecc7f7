"""The quiet lines around the instrument: heading, alerts, where OSC goes, the notice."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import partial

from rich.cells import cell_len

from sidecar.model.alert_sentences import alert_sentence
from sidecar.model.readings import Alert
from sidecar.model.snapshot import Snapshot, Target, Transport
from sidecar.settings.goals import Goal
from tui import texts
from tui.drawing import wording
from tui.drawing.cells import Row, Tone, fit, shortened, spread, text_of, width_of
from tui.drawing.view import View

TRANSPORT: dict[Transport, tuple[str, Tone]] = {
    "preparing": ("… preparing", "dim"),
    "waiting": ("○ waiting", "plain"),
    "ready": ("○ ready", "strong"),
    "measuring": ("● measuring", "strong"),
    "paused": ("‖ paused", "plain on latched"),
    "ended": ("■ ended", "plain"),
}
"""What the run is doing, in shape and word."""

_ROOMY_FROM = 96
"""Columns from which the length of the programme is written beside what is left of it."""
_CLOCKS_FROM = 56
"""Columns from which there is room for the time of day."""
_LEAST_SOURCE = 8
"""Cells of the source's name: shorter, it would say nothing."""
_DETAILS = ((4, True), (3, True), (2, True), (4, False), (3, False), (2, False), (1, False))
"""What the alerts say, from all there is to what fits into half a line."""

FALLING_LU = 0.1
"""Short-term so far under its highest is falling: less is no change (EBU Tech 3341 §2.9, table 1)."""
_ALERT_UNITS = {"ceiling": "dBTP", "lost": "s", "silent": "s"}
"""Of the alerts that are not about loudness."""


def heading(view: View, width: int) -> Row:
    """Transport, programme time and what is left of it, the goal, the source, timecode and time of day.

    The source gives way first, then the name of the goal.
    """
    snapshot = view.snapshot
    word, tone = TRANSPORT[snapshot.transport]
    time = _programme_time(snapshot, width)
    left: Row = ((f" {word} ", tone), (f" {time}  ", "strong"))
    if view.answer:
        return _answered(left, view.answer, width)
    clocks = _clocks(view) if width >= _CLOCKS_FROM else ()
    if view.is_line_slow:
        clocks = ((" slow line ", "plain on latched"), *clocks)
    target = f" {wording.plain(snapshot.goal.target_lufs)} {snapshot.goal.unit}"
    room = width - width_of(left) - len(target) - width_of(clocks) - 1
    sources = _sources(snapshot)
    name = _named(
        snapshot.goal, max(room - cell_len(sources[0]) - 1, min(room, cell_len(snapshot.goal.name)))
    )
    source_room = room - cell_len(name) - 2
    fitting = next((form for form in sources if cell_len(form) <= source_room), sources[-1])
    source = shortened(fitting, source_room) if source_room >= _LEAST_SOURCE else ""
    return spread((*left, (name + target, "dim")), ((f"{source} " if source else "", "dim"), *clocks), width)


def _answered(left: Row, answer: str, width: int) -> Row:
    """What a key has done, in place of what changes least; of the whole row where it needs the room."""
    answered: Row = ((f" {shortened(answer, width - 2)} ", "strong"),)
    return spread(left, answered, width) if width_of((*left, *answered)) < width else fit(answered, width)


def _programme_time(snapshot: Snapshot, width: int) -> str:
    """Where the programme is, and what is left of it where its length is known."""
    now_s, duration_s = snapshot.reading.seconds, snapshot.duration_s
    time = wording.clock(now_s)
    if duration_s is None:
        return time
    left_s = math.ceil(duration_s - now_s)
    left = f"{wording.clock(left_s)} left"
    whole = f"{time} of {wording.clock(duration_s)}"
    if snapshot.transport == "ended" or left_s < 0:
        return whole
    if width < _CLOCKS_FROM:
        return left
    return f"{whole if width >= _ROOMY_FROM else time}, {left}"


def _clocks(view: View) -> Row:
    """The source's own timecode, and the time of day."""
    start_s = view.snapshot.timecode_start_s
    runs: list[tuple[str, Tone]] = []
    if start_s is not None:
        timecode = wording.time_of_day(start_s + view.snapshot.reading.seconds)
        runs.append((f" TC {timecode} ", "plain"))
    if view.time_of_day:
        runs.append((f" {view.time_of_day} ", "dim"))
    return tuple(runs)


def _named(goal: Goal, room: int) -> str:
    """The goal's title, or where that has no room its name, or the word; what is cut says little."""
    forms = (goal.title, goal.name or goal.title, "goal")
    return next((form for form in forms if cell_len(form) <= room), "")


def _sources(snapshot: Snapshot) -> tuple[str, ...]:
    """The source with its rate and layout, with its rate, and alone: the longest that fits is shown."""
    details = (snapshot.source, wording.rate(snapshot.rate_hz), snapshot.layout)
    return tuple(" ".join(detail for detail in details[:count] if detail) for count in (3, 2, 1))


def alerts_row(view: View, width: int, *, has_notice: bool = False) -> Row:
    """Every alert in its own place once one is on: dim while off, reversed with value and limit while on.

    has_notice: the notice has no row of its own, and takes the place of alerts that are all off; a fault of
    the screen, or a refusal, that of any.
    """
    snapshot = view.snapshot
    if has_notice and (view.fault or (_is_calm(snapshot) and snapshot.notice)):
        return fit(_notice(view, width), width)
    losses, failures = _losses(snapshot), _failures(snapshot) if has_notice else ()
    needed = 0 if _is_calm(snapshot) else width_of(_narrow(view, 0))
    tails = ((*losses, *failures), losses, ())
    tail = next((tail for tail in tails if needed + width_of(tail) < width), ())
    room = width - width_of(tail) - 1
    runs = _calm(snapshot) if _is_calm(snapshot) else _alarmed(view, room)
    return spread(fit(runs, room), tail, width)


def _is_calm(snapshot: Snapshot) -> bool:
    """Whether no alert is on or latched."""
    return all(alert.state == "off" for alert in snapshot.alerts)


def _calm(snapshot: Snapshot) -> Row:
    """That no alert is on: five words that are all off would read as a list of what is. After the end the
    verdict says all."""
    return () if snapshot.transport == "ended" else ((texts.NO_ALERTS, "dim"),)


def _alarmed(view: View, room: int) -> Row:
    """The alerts with as much detail as finds room."""
    for detail, with_quiet in _DETAILS:
        runs = _alert_runs(view, detail, with_quiet=with_quiet)
        if len(text_of(runs)) <= room:
            return runs
    valued = _narrow(view, 1)
    return valued if width_of(valued) <= room else _narrow(view, 0)


def _narrow(view: View, detail: int) -> Row:
    """The alerts that are not off, without room around them."""
    runs: list[tuple[str, Tone]] = []
    for alert in (alert for alert in view.snapshot.alerts if alert.state != "off"):
        text, tone = alert_run(alert, view, detail)
        runs += [(text.strip().replace(" ", "", 1), tone), (" ", "plain")]
    return tuple(runs)


def _failures(snapshot: Snapshot) -> Row:
    """That OSC cannot be sent, where nothing else has room to say it."""
    failed = sum(target.failed for target in snapshot.targets)
    return ((f"╳ OSC {wording.count(failed)} failed ", "over bold"),) if failed else ()


def _losses(snapshot: Snapshot) -> Row:
    """What is missing from the measurement; a result with a gap must not hide it."""
    lost, bad = snapshot.dropped_samples, snapshot.reading.bad_samples
    texts = [f"╳ {wording.count(lost)} dropped"] if lost else []
    texts += [f"╳ {wording.count(bad)} bad samples"] if bad else []
    return ((" ".join(texts) + " ", "over bold"),) if texts else ()


def _alert_runs(view: View, detail: int, *, with_quiet: bool) -> Row:
    """detail: see :func:`alert_run`. with_quiet: those that are off too."""
    runs: list[tuple[str, Tone]] = [(" ", "plain")]
    for alert in view.snapshot.alerts:
        if alert.state != "off" or with_quiet:
            runs += [alert_run(alert, view, detail), (" ", "plain")]
    return tuple(runs)


def alert_run(alert: Alert, view: View, detail: int) -> tuple[str, Tone]:
    """One alert as its row shows it.

    detail: 4 a sentence, 3 value and limit, 2 value, 1 the value where it is on, 0 its word only.
    """
    shape = wording.alert_sign(alert.name, letters=not view.half_blocks)
    if alert.state == "off":
        return f" {shape} {alert.name} ", "faint"
    ink = "ceiling" if alert.name == "ceiling" else "over"
    figure = _alert_figure(alert, alert.value, view)
    value = f" {figure} {_ALERT_UNITS.get(alert.name) or _unit(view)}"
    if alert.state == "latched":
        return f" {shape} {alert.name}{f' was{value}' if detail > 1 else ''} ", f"{ink} on latched"
    is_falling = alert.name == "hot" and view.snapshot.reading.short_term < alert.value - FALLING_LU
    bound = _alert_figure(alert, alert.limit, view)
    if detail > 3 and not is_falling and bound != figure:  # on its way off it may be back at the limit
        what, colon, figures = _sentence(alert, view).partition(":")
        return f" {shape} {what.upper()}{colon}{figures} ", f"paper on {ink} bold"
    value = f" peaked at {figure}" if is_falling else value
    limit = f", limit {bound}" if detail > 2 and bound != figure else ""
    return f" {shape} {alert.name.upper()}{value if detail else ''}{limit} ", f"paper on {ink} bold"


def _sentence(alert: Alert, view: View) -> str:
    if not view.relative:
        return alert_sentence(alert)
    return alert_sentence(alert, partial(wording.level, goal=view.snapshot.goal, relative=True))


def _alert_figure(alert: Alert, value: float, view: View) -> str:
    if alert.name in _ALERT_UNITS:
        return wording.plain(value)
    return wording.bare_level(value, view.snapshot.goal, relative=view.relative)


def _unit(view: View) -> str:
    return wording.unit(view.snapshot.goal, relative=view.relative)


def outlets(view: View, width: int, height: int) -> list[Row]:
    """The notice, and to its right what OSC cannot send and how many screens show this run."""
    if height < 1:
        return []
    notice_width = width_of(_notice(view, width))
    targets = _targets_row(view, max(width // 2, width - notice_width - 1))
    # The end of a sentence is worth more than that OSC is off.
    room = width - width_of(targets) - 1 if view.snapshot.targets else width
    row = spread(_notice(view, room), targets, width)
    return [row, *([fit((), width)] * (height - 1))]


def _notice(view: View, width: int) -> Row:
    """The latest thing worth saying; a fault of the screen itself comes first."""
    if view.fault:
        return ((shortened(f" {view.fault}", width), "over bold"),)
    snapshot = view.snapshot
    notice = "" if snapshot.transport == "preparing" else snapshot.notice  # the hero says it then
    return ((shortened(f" {_in_unit(notice, view)}", width), "plain"),)


def _in_unit(sentence: str, view: View) -> str:
    return wording.in_unit(sentence, view.snapshot.goal, relative=view.relative)


_SCREENS_WIDTH = 10
"""Cells that the number of screens takes."""


def _targets_row(view: View, width: int) -> Row:
    """Failures of sending, and the screens elsewhere; nothing while all is sent. The log has the counts."""
    targets = view.snapshot.targets
    if not targets and view.snapshot.transport != "ended":
        return ((f" {texts.OSC_OFF} ", "faint"),)
    failing = [target for target in targets if target.failed]
    screens = sum(target.is_screen for target in targets)
    runs: list[tuple[str, Tone]] = []
    if failing:
        room = width - 2 - (_SCREENS_WIDTH if screens else 0)
        forms = _failing_forms(failing)
        text = next((form for form in forms if len(form) <= room), shortened(forms[-1], room))
        runs.append((f" {text} ", "over bold"))
    if screens:
        runs.append((f" {screens} {'screen' if screens == 1 else 'screens'} ", "dim"))
    return tuple(runs)


def _failing_forms(failing: Sequence[Target]) -> tuple[str, ...]:
    """What is said of targets that fail, from the longest to the shortest."""
    worst = max(failing, key=lambda target: (bool(target.fault), target.failed))
    others = f" (+{len(failing) - 1} more)" if len(failing) > 1 else ""
    fault = f": {worst.fault}" if worst.fault else ""
    name = f"╳ OSC {worst.name} {wording.count(worst.failed)} failed"
    every = sum(target.failed for target in failing)
    return f"{name}{fault}{others}", f"{name}{others}", f"╳ OSC {wording.count(every)} failed"


def target_runs(target: Target) -> Row:
    """One place and how sending to it goes, without the reason of a failure."""
    runs: list[tuple[str, Tone]] = [(f"OSC ▸ {target.name} {wording.count(target.sent)} sent", "dim")]
    if target.failed:
        runs.append((f" ╳ {wording.count(target.failed)} failed", "over bold"))
    return tuple(runs)
