"""The rows under the move that are always there: automatic moves, cautions, the next look; then what else
stays true for the whole run."""

from __future__ import annotations

import math
from collections.abc import Iterator

from sidecar.model.snapshot import ArmState, EarlierPass, Snapshot
from tui import texts
from tui.drawing import wording
from tui.drawing.cells import Row, Run, fit, shortened, spread, width_of
from tui.drawing.panels.advice import advice, next_pass_fader_db
from tui.drawing.view import KeyNames, View

_LOW_ROWS = 30
_TREND = {-1: " ↘", 0: "", 1: " ↗"}

Said = tuple[Row, ...]
"""One thing to say, from its longest to its shortest form."""


def rows_wanted(view: View, height: int) -> int:
    """Returns the rows that are asked for on a screen of *height* rows; as many from the first look of a run
    to its last. A table of stems on a low screen needs the reserved row more than the next look does."""
    snapshot = view.snapshot
    has_light = any(target.is_light for target in snapshot.targets)
    needs_none = snapshot.stems and not (snapshot.arm or has_light)
    reserved = 0 if needs_none and height < _LOW_ROWS else 1
    return reserved + (snapshot.arm is not None) + (snapshot.earlier_pass is not None)


def standing_rows(view: View, width: int, height: int) -> list[Row]:
    """Returns *height* rows: the reserved one, the sentence about automatic moves, the earlier pass."""
    snapshot = view.snapshot
    rows = [_reserved(view, width)]
    if snapshot.arm is not None:
        rows.append(_sentence(view, snapshot.arm, width))
    if snapshot.earlier_pass is not None:
        rows.append(_earlier(snapshot.earlier_pass, width))
    return [fit(row, width) for row in [*rows, *([()] * height)][:height]]


# --- the reserved row ---------------------------------------------------------------------------


def _reserved(view: View, width: int) -> Row:
    """Everything in the longest form that finds room."""
    said, look = tuple(_said(view)), _next_look(view) or ((),)
    left: Row = ()
    for form in range(max((len(forms) for forms in said), default=1)):
        left = _joined(said, form)
        for right in look:
            if width_of(left) + width_of(right) < width:
                return spread(left, right, width)
    return fit(left, width)


def _joined(said: tuple[Said, ...], form: int) -> Row:
    return tuple(run for forms in said for run in _form(forms, form))


def _form(forms: Said, form: int) -> Row:
    return forms[min(form, len(forms) - 1)] if forms else ()


def _said(view: View) -> Iterator[Said]:
    """What is said at the left edge, most important first."""
    snapshot = view.snapshot
    if snapshot.arm is not None:
        state = arm_state(snapshot.arm)
        yield (state, (f" {snapshot.arm.surface} ", "plain")), (state,)
    if any(target.is_light for target in snapshot.targets):
        yield _forms("strong", texts.LIGHT, texts.LIGHT_SHORT, texts.LIGHT_SHORTEST)
    if advice(snapshot, relative=view.relative).sign == "↑":
        yield _forms("strong", f"▲ {texts.LOUDER}", f"▲ {texts.LOUDER_SHORT}")
    start_db = next_pass_fader_db(snapshot)
    if start_db is not None:
        yield _next_pass(view, start_db)
    widened_lu = snapshot.advice.range_widened_lu
    if round(widened_lu, 1) > 0.0:
        figure = wording.plain(widened_lu)
        forms = (text.format(range_lu=figure) for text in (texts.WIDENED, texts.WIDENED_SHORT))
        yield *_forms("dim", *forms), ()


def _next_pass(view: View, start_db: float) -> Said:
    """Where the fader belongs in the next pass, and the key that takes it there. After the end of the run no
    key does: it takes no command any more, and no audio plays that a move could be heard in."""
    snapshot = view.snapshot
    names = {"fader": wording.signed(start_db), "follow": view.keys.follow}
    if view.plays_again and snapshot.transport == "ended":
        return _forms("strong", *(text.format(**names) for text in texts.PLAY_AGAIN))
    is_moved = snapshot.moves_fader and snapshot.transport != "ended"
    caution = texts.MONITORS_FIRST if start_db > snapshot.fader_db else ""
    forms = texts.MOVE_FOR_NEXT if is_moved else texts.SET_FOR_NEXT
    return _forms("strong", *(text.format(**names) + caution for text in forms))


def _forms(tone: str, *forms: str) -> Said:
    return tuple(((f" {form} ", tone),) for form in forms)


def arm_state(arm: ArmState) -> Run:
    """Whether the fader may be moved, in shape and word."""
    if arm.is_armed:
        return f" {texts.ARMED} ", "paper on over bold"
    return (f" {texts.ARM_WAITING} ", "over bold") if arm.is_waiting else (f" {texts.NOT_ARMED} ", "plain")


def _next_look(view: View) -> Said:
    """When the advice is looked at next, and where it heads; nothing after the end."""
    snapshot = view.snapshot
    left_s = snapshot.advice.next_look_in_s(snapshot.reading.seconds)
    if left_s is None or snapshot.transport == "preparing" or snapshot.is_pass_over:
        return ()
    seconds = f"{math.ceil(left_s):2d}"
    trend = _TREND[snapshot.advice.trend]
    scope = _scope(snapshot)
    return tuple(
        ((f"{text.format(seconds=seconds)}{trend} ", "dim"),)
        for text in (f"{scope}, {texts.NEXT_LOOK}", texts.NEXT_LOOK, texts.NEXT_LOOK_SHORT)
    )


def _scope(snapshot: Snapshot) -> str:
    return texts.THIS_PASS if snapshot.advice.lands_this_pass else texts.WHOLE_PASS


# --- the rows below it --------------------------------------------------------------------------


def _sentence(view: View, arm: ArmState, width: int) -> Row:
    """The latest sentence about automatic moves; the caution has been read before arming, so while they are
    on the row says how to stop them."""
    sentence = arm.sentence.partition(texts.CAUTION_BEGINS)[0].strip()
    if arm.is_armed and (not view.arm_is_news or not sentence or texts.CAUTION_BEGINS in arm.sentence):
        return _longest_that_fits(width, view.keys, *texts.ARMED_HOW)
    if arm.is_waiting and sentence.startswith(texts.WAITING_BEGINS):
        return _longest_that_fits(width, view.keys, *texts.WAITING_HOW)
    return ((f" {shortened(sentence, width - 2)}", "strong" if view.arm_is_news else "dim"),)


def _longest_that_fits(width: int, keys: KeyNames, *forms: str) -> Row:
    said = [form.format(arm=keys.arm) for form in forms]
    text = next((form for form in said if len(form) < width - 1), said[-1])
    return ((f" {text}", "strong"),)


def _earlier(earlier: EarlierPass, width: int) -> Row:
    if not math.isfinite(earlier.error_db):
        rest = texts.FINDING_ITS_PLACE
    elif earlier.fits:
        rest = texts.FITS.format(
            offset=wording.plain(earlier.offset_s), error=wording.plain(earlier.error_db)
        )
    else:
        rest = texts.DOES_NOT_FIT
    head = " earlier pass "
    title = shortened(earlier.title.removeprefix(texts.PASS_OF), max(0, width - len(head) - len(rest) - 1))
    return ((f"{head}{title}{rest}", "dim"),)
