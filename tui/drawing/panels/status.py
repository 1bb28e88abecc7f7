"""The quiet lines around the instrument: heading, alerts, where OSC goes, the notice."""

from __future__ import annotations

from rich.cells import cell_len

from sidecar.loudness.limits import broken_limits
from sidecar.model.alert_sentences import alert_sentence
from sidecar.model.readings import Alert
from sidecar.model.snapshot import Snapshot, Target, Transport
from sidecar.settings.goals import Goal
from tui import texts
from tui.drawing import wording
from tui.drawing.cells import Cells, Row, Tone, fit, shortened, spread, text_of, width_of
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

_DETAILS = ((3, True), (2, True), (1, True), (3, False), (2, False), (1, False))
"""What the alerts say, from all there is to what fits into half a line."""

FALLING_LU = 0.1
"""Short-term so far under its highest is falling: less is no change (EBU Tech 3341 §2.9, table 1)."""
_ALERT_UNITS = {"ceiling": "dBTP", "lost": "s", "silent": "s"}


def heading(view: View, width: int) -> Row:
    """Transport and programme time, the goal, and where the sound comes from."""
    snapshot = view.snapshot
    word, tone = TRANSPORT[snapshot.transport]
    time = wording.clock(snapshot.reading.seconds)
    if snapshot.duration_s is not None:
        time += f" of {wording.clock(snapshot.duration_s)}"
    left: Row = ((f" {word} ", tone), (f" {time}  ", "strong"))
    room = width - width_of(left)
    source = _source(snapshot)
    source = shortened(source, max(0, room // 2))
    target = f" {wording.plain(snapshot.goal.target_lufs)} {snapshot.goal.unit}"
    goal = _named(snapshot.goal, room - cell_len(source) - len(target) - 2) + target
    return spread((*left, (goal, "dim")), ((f"{source} ", "dim"),), width)


def _named(goal: Goal, room: int) -> str:
    """The goal's title, or where that has no room its name."""
    return goal.title if cell_len(goal.title) <= room else shortened(goal.name or goal.title, room)


def _source(snapshot: Snapshot) -> str:
    details = (snapshot.source, wording.rate(snapshot.rate_hz), snapshot.layout)
    return " ".join(detail for detail in details if detail)


def alerts_row(view: View, width: int) -> Row:
    """Every alert in its own place: dim while off, reversed with value and limit while on."""
    snapshot = view.snapshot
    tail = _losses(snapshot)
    room = width - len(text_of(tail)) - 1
    for detail, with_quiet in _DETAILS:
        runs = _alert_runs(snapshot, detail, with_quiet=with_quiet)
        if text_of(runs).strip() and len(text_of(runs)) <= room:
            break
    else:
        runs = _narrow(snapshot)
    return spread(fit(runs, room), tail, width)


def _narrow(snapshot: Snapshot) -> Row:
    """The alerts without room around them; those that are off are left out where one is not."""
    news = [alert for alert in snapshot.alerts if alert.state != "off"] or list(snapshot.alerts)
    runs: list[tuple[str, Tone]] = []
    for alert in news:
        text, tone = alert_run(alert, snapshot, 0)
        runs += [(text.strip().replace(" ", "", 1), tone), (" ", "plain")]
    return tuple(runs)


def _losses(snapshot: Snapshot) -> Row:
    """What is missing from the measurement; a result with a gap must not hide it."""
    lost, bad = snapshot.dropped_samples, snapshot.reading.bad_samples
    texts = [f"╳ {wording.count(lost)} dropped"] if lost else []
    texts += [f"╳ {wording.count(bad)} bad samples"] if bad else []
    return ((" ".join(texts) + " ", "over bold"),) if texts else ()


def _alert_runs(snapshot: Snapshot, detail: int, *, with_quiet: bool) -> Row:
    """detail: 3 sentences, 2 value and limit, 1 value, 0 words only. with_quiet: those that are off too."""
    if not snapshot.alerts:
        return _verdict(snapshot)
    runs: list[tuple[str, Tone]] = [(" ", "plain")]
    for alert in snapshot.alerts:
        if alert.state != "off" or with_quiet:
            runs += [alert_run(alert, snapshot, detail), (" ", "plain")]
    return tuple(runs)


def _verdict(snapshot: Snapshot) -> Row:
    """Returns the verdict on a finished pass in place of alerts, or that there are none."""
    if snapshot.transport != "ended":
        return ((texts.NO_ALERTS, "dim"),)
    broken = broken_limits(snapshot.reading, snapshot.goal)
    if broken:
        return ((texts.BREAKS_GOAL.format(limits=", ".join(broken)), "over bold"),)
    return ((texts.WITHIN_GOAL, "strong"),)


def alert_run(alert: Alert, snapshot: Snapshot, detail: int) -> tuple[str, Tone]:
    """One alert as its row shows it; detail: 3 a sentence, 2 value and limit, 1 value, 0 its word only."""
    shape = wording.SHAPES[alert.name]
    if alert.state == "off":
        return f" {shape} {alert.name} ", "faint"
    unit = _ALERT_UNITS.get(alert.name, snapshot.goal.unit)
    value = f" {wording.plain(alert.value)} {unit}" if detail > 0 else ""
    ink = "ceiling" if alert.name == "ceiling" else "over"
    if alert.state == "on":
        is_falling = alert.name == "hot" and snapshot.reading.short_term < alert.value - FALLING_LU
        if detail > 2 and not is_falling:
            what, colon, figures = alert_sentence(alert).partition(":")
            return f" {shape} {what.upper()}{colon}{figures} ", f"paper on {ink} bold"
        if detail > 0 and is_falling:
            value = f" peaked at {wording.plain(alert.value)}"
        limit = f", limit {wording.plain(alert.limit)}" if detail > 1 else ""
        return f" {shape} {alert.name.upper()}{value}{limit} ", f"paper on {ink} bold"
    return f" {shape} {alert.name} was{value} ", f"{ink} on latched"


def outlets(view: View, width: int, height: int) -> list[Row]:
    """The notice and where OSC goes: in one row, or each in its own when there is room."""
    if height < 1:
        return []
    if height > 1:
        rows = [fit(_osc_long(view, width), width), fit(_notice(view, width), width)]
        return [*rows, *([fit((), width)] * (height - 2))]
    targets = _osc_short(view)
    # The end of a sentence is worth more than that OSC is off.
    beside = len(text_of(targets)) + 1 if view.snapshot.targets else 0
    return [spread(_notice(view, max(width // 2, width - beside)), targets, width)]


def _notice(view: View, width: int) -> Row:
    """The latest thing worth saying; a fault of the screen itself comes first."""
    if view.fault:
        return ((shortened(f" {view.fault}", width), "over bold"),)
    notice = "" if view.snapshot.transport == "preparing" else view.snapshot.notice  # the hero says it then
    return ((shortened(f" {notice}", width), "plain"),)


def _osc_short(view: View) -> Row:
    """All targets in one short run for the right edge."""
    targets = view.snapshot.targets
    if not targets:
        return _no_targets(view.snapshot)
    if len(targets) == 1:
        return (*target_runs(targets[0]), (" ", "plain"))
    sent, failed = sum(t.sent for t in targets), sum(t.failed for t in targets)
    runs: list[tuple[str, Tone]] = [(f"OSC ▸ {len(targets)} places {wording.count(sent)} sent ", "dim")]
    if failed:
        runs.append((f"{wording.count(failed)} failed ", "over bold"))
    return tuple(runs)


def _no_targets(snapshot: Snapshot) -> Row:
    """Returns the note that OSC has no target; nothing for a finished pass, which sends none."""
    return () if snapshot.transport == "ended" else ((f" {texts.OSC_OFF} ", "faint"),)


def _osc_long(view: View, width: int) -> Row:
    """Each target with its counts and its fault, as many as fit."""
    targets = view.snapshot.targets
    if not targets:
        return _no_targets(view.snapshot)
    cells = Cells(width)
    x = 1
    for index, target in enumerate(targets):
        runs = (*target_runs(target), (f": {target.fault}" if target.fault else "", "over"))
        if x + len(text_of(runs)) > width and index:
            cells.put(x, f"+{len(targets) - index} more", "dim")
            break
        cells.put_row(x, runs)
        x += len(text_of(runs)) + 3
    return cells.row()


def target_runs(target: Target) -> Row:
    """One place and how sending to it goes, without the reason of a failure."""
    runs: list[tuple[str, Tone]] = [(f"OSC ▸ {target.name} {wording.count(target.sent)} sent", "dim")]
    if target.failed:
        runs.append((f" ╳ {wording.count(target.failed)} failed", "over bold"))
    return tuple(runs)
