"""The state beside the levels: arming of the fader, the question about a guess, the earlier pass."""

from __future__ import annotations

import math
import textwrap

from sidecar.model.snapshot import ArmState, EarlierPass
from tui import texts
from tui.drawing import wording
from tui.drawing.cells import Row, Run, fit, shortened, text_of, width_of
from tui.drawing.view import View

_INDENT = 3
_LONGEST = 4
"""Rows that a sentence may take while it is new."""


def rows_wanted(view: View, width: int) -> int:
    """Rows in which everything that stands is said in full."""
    arm = view.snapshot.arm
    return len(_others(view, width)) + (len(_arm_rows(view, arm, width, _LONGEST)) if arm else 0)


def standing_rows(view: View, width: int, height: int) -> list[Row]:
    """Returns *height* rows: arming, the question, the earlier pass; long sentences are shortened first."""
    others, arm = _others(view, width), view.snapshot.arm
    rows = _arm_rows(view, arm, width, max(1, height - len(others))) if arm else []
    rows += [*others, *([()] * height)]
    return [fit(row, width) for row in rows[:height]]


def _others(view: View, width: int) -> list[Row]:
    snapshot = view.snapshot
    rows = [_question(snapshot.guess, width)] if snapshot.guess else []
    return rows + ([_earlier(snapshot.earlier_pass, width)] if snapshot.earlier_pass else [])


def _arm_rows(view: View, arm: ArmState, width: int, most: int) -> list[Row]:
    """Armed or not in word and shape; the sentence in full while it is new, then what fits beside."""
    row: Row = (arm_state(arm.is_armed), (f" {arm.surface}  ", "plain"))
    room = width - width_of(row) - 1
    if not view.arm_is_news or len(arm.sentence) <= room or most < 2:
        return [(*row, (shortened(arm.sentence, room), "strong" if view.arm_is_news else "dim"))]
    first, *_ = textwrap.wrap(arm.sentence, max(8, room)) or [""]
    rest = textwrap.wrap(arm.sentence[len(first) :].strip(), max(8, width - _INDENT - 1))
    if len(rest) > most - 1:
        rest = [*rest[: most - 2], shortened(" ".join(rest[most - 2 :]), width - _INDENT - 1)]
    return [(*row, (first, "strong")), *(((" " * _INDENT + line, "strong"),) for line in rest)]


def arm_state(is_armed: bool) -> Run:
    """Whether the fader may be moved, in shape and word."""
    return (" ▣ ARMED ", "paper on over bold") if is_armed else (" ▢ not armed ", "plain")


def _question(guess: str, width: int) -> Row:
    """The question and the keys that answer it; the keys are never cut."""
    keys: Row = (("  y", "strong"), (" yes", "plain"), ("  n", "strong"), (" no ", "plain"))
    return ((" ? ", "strong"), (shortened(guess, width - 3 - len(text_of(keys))), "plain"), *keys)


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
    title = shortened(earlier.title, max(0, width - len(head) - len(rest) - 1))
    return ((f"{head}{title}{rest}", "dim"),)
