"""The next move, set as large as the room allows. Where what is drawn depends on the size alone, so that
nothing jumps from one state to the next."""

from __future__ import annotations

import re
import textwrap
from dataclasses import dataclass, replace
from functools import lru_cache

from tui import texts
from tui.drawing import digits, wording
from tui.drawing.cells import Cells, Row, Run, Tone, shortened
from tui.drawing.panels.advice import Advice, advice
from tui.drawing.view import View

_MARGIN = 1
_GAP = 3
_WIDEST = f"↓{digits.NARROW}88.8"
"""What the place of the figure is made for."""
_WORDS_WIDTH = 28
"""Narrower words than these would be cut: the figures are set smaller, or the words below them."""
_WORDS_BELOW = 4
"""Rows of words that a figure must leave below it."""
_LANDING_WIDTH = 34
"""Cells that the landing needs to be set in small blocks beside the words."""
_LANDING_GAP = 2
"""Of these cells, what stays free between the words and it."""
_LANDING_HEIGHT = 6
_TOGETHER_WIDTH = 46
"""Cells from which the landing and its likely range are in one row."""
_NOTE_ROWS = 2
_VERDICT_ROWS = 4

Slots = list[list[Run]]
"""Rows of words; an empty one keeps its place."""


@dataclass(frozen=True, slots=True)
class _Place:
    """Where the figure and the words go."""

    scale: int
    """0: none, in half blocks; else how many cells high a dot is."""
    figure_width: int
    figure_height: int
    words_x: int
    words_y: int


def hero(view: View, width: int, height: int) -> list[Row]:
    """*height* rows of *width* cells that say the next move, or calmly that there is none."""
    said = advice(view.snapshot, relative=view.relative)
    if not view.half_blocks:
        said = replace(said, travel=said.travel.replace("→", "->"))
    return list(_drawn(said, width, height, half_blocks=view.half_blocks))


@lru_cache(maxsize=4)
def _drawn(said: Advice, width: int, height: int, *, half_blocks: bool) -> tuple[Row, ...]:
    """The rows; kept, since the advice changes only at its looks."""
    place = _place(width, height, half_blocks=half_blocks)
    if place is None:
        return tuple(_lines_only(said, width, height))
    rows = [Cells(width) for _ in range(height)]
    figure = _figure(said, place, half_blocks=half_blocks)
    top = (place.figure_height - len(figure)) // 2
    for y, line in enumerate(figure):
        rows[top + y].put(_MARGIN, line, said.tone)
    words_width = width - place.words_x - 1
    rows_left = height - place.words_y
    has_room = words_width >= _WORDS_WIDTH + _LANDING_WIDTH and rows_left >= _LANDING_HEIGHT
    is_apart = has_room and place.words_y == 0 and half_blocks
    if is_apart:
        words_width -= _LANDING_WIDTH
        if said.landing:
            _write_landing(rows, width - _LANDING_WIDTH + _LANDING_GAP, said)
    words = _words(said, words_width, rows_left, has_landing=not is_apart)
    for y, runs in enumerate(words, start=place.words_y):
        rows[y].put_row(place.words_x, tuple(runs))
    return tuple(cells.row() for cells in rows)


def _place(width: int, height: int, *, half_blocks: bool) -> _Place | None:
    """Returns where everything goes; None where there is no room for a figure in blocks."""
    dots = len(digits.large(_WIDEST)[0]) // 2
    for scale in range(height // digits.HEIGHT, 0, -1):
        figure_width, figure_height = 2 * dots * scale, digits.HEIGHT * scale
        x = _MARGIN + figure_width + _GAP
        if x + _WORDS_WIDTH < width:
            return _Place(scale, figure_width, figure_height, x, 0)
        if _MARGIN + figure_width < width and height >= figure_height + _WORDS_BELOW:
            return _Place(scale, figure_width, figure_height, _MARGIN, figure_height)
    small_height = (digits.HEIGHT + 1) // 2
    if not half_blocks or height < small_height:
        return None
    x = _MARGIN + dots + _GAP
    if x + _WORDS_WIDTH - _GAP < width:
        return _Place(0, dots, small_height, x, 0)
    if _MARGIN + dots < width and height >= small_height + _WORDS_BELOW:
        return _Place(0, dots, small_height, _MARGIN, small_height)
    return None


def _figure(said: Advice, place: _Place, *, half_blocks: bool) -> list[str]:
    """The figure in blocks, or a word in smaller ones: what is calm is not shouted."""
    if said.amount:
        text = (said.sign + digits.NARROW + said.amount).rjust(len(_WIDEST), digits.FIGURE_SPACE)
        return digits.large(text, place.scale) if place.scale else digits.small(text)
    word = f"{said.sign} {said.word}" if said.sign else said.word
    if place.scale > 1 and len((lines := digits.large(word, place.scale - 1))[0]) <= place.figure_width:
        return lines
    lines = digits.small(word)
    return lines if half_blocks and len(lines[0]) <= place.figure_width else [word]


# --- the words ----------------------------------------------------------------------------------


def _words(said: Advice, width: int, height: int, *, has_landing: bool = True) -> Slots:
    """Returns what is said in *height* rows: each thing in its own row, the reason in what is left.

    has_landing: whether the landing is among it; else it is set apart.
    """
    if not has_landing:
        said = replace(said, landing="", likely="")
    slots = (
        _verdict_slots(said, width, height) if said.verdict else _slots(said, width, has_landing=has_landing)
    )
    if not (said.verdict or said.landing or said.from_top):
        slots = slots[:1]  # the reason is all there is to say: nothing keeps it from the rows of a landing
    if height < len(slots):
        return _most_needed(said, width, height)
    note_rows = min(_NOTE_ROWS, height - len(slots))
    note = _whole_clauses(said.note, width, note_rows) or _cut(said.short_note or said.note, width, note_rows)
    room = height - len(slots) - len(note)
    reason = _whole_clauses(said.reason, width, room)
    if said.verdict and " ".join(reason) != said.reason:
        reason = []  # the verdict has said it
    blank = room - len(reason)
    return [
        *slots,
        *([(line, _note_tone(said))] for line in note),
        *([(line, "dim")] for line in reason),
        *([] for _ in range(blank)),
    ]


def _whole_clauses(text: str, width: int, rows: int) -> list[str]:
    """*text* in at most *rows* rows; where it needs more, as many whole clauses from its beginning as fit,
    and nothing where not even one does."""
    ends = [match.start() for match in re.finditer("[.;:] ", text)]
    for shorter in (text, *(f"{text[:end]}." for end in reversed(ends))):
        lines = textwrap.wrap(shorter, max(8, width))
        if len(lines) <= rows:
            return lines
    return []


def _cut(text: str, width: int, rows: int) -> list[str]:
    """*text* in at most *rows* rows, with an ellipsis where something was cut."""
    return textwrap.wrap(text, max(8, width), max_lines=max(1, rows), placeholder=" …")[:rows]


def _slots(said: Advice, width: int, *, has_landing: bool) -> Slots:
    landing = (said.landing, _landing_tone(said))
    likely_room = width - len(said.landing) - 2
    short = said.likely.removeprefix("likely ") if len(said.likely) > likely_room else said.likely
    likely = (short if width >= _TOGETHER_WIDTH else said.likely, "dim")
    landings = [[landing, ("  ", "plain"), likely]] if width >= _TOGETHER_WIDTH else [[landing], [likely]]
    return [
        _call(said, width),
        *(landings if has_landing else []),
        [(shortened(said.from_top, width), "plain")],
    ]


def _verdict_slots(said: Advice, width: int, height: int) -> Slots:
    """By how much, in two rows at least, then the next pass in the row of *from the top* or below it."""
    lines = [line for sentence in said.verdict for line in textwrap.wrap(sentence, max(8, width))]
    most = max(2, min(_VERDICT_ROWS, height - 2))
    shown = lines if len(lines) <= most else [_brief(sentence, width) for sentence in said.verdict][:most]
    shown += [""] * (2 - len(shown))
    travel = f"  {said.travel}" if said.from_top else ""
    if len(said.from_top) + len(travel) > width:
        travel = ""
    return [
        *([(line, said.tone if said.word == "FAILS" else "strong")] for line in shown),
        [(shortened(said.from_top, width), "strong" if said.word == "FAILS" else "dim"), (travel, "plain")],
        *([[(shortened(_landing_line(said, width), width), "dim")]] if said.landing else []),
    ]


def _brief(verdict: str, width: int) -> str:
    """A sentence of the verdict in one row; where it has no room, without the figure of the limit."""
    if len(verdict) <= width:
        return verdict
    short = re.sub(" the limit .*", "", verdict)
    return shortened(short.replace("just at", "at the limit"), width)


def _most_needed(said: Advice, width: int, height: int) -> Slots:
    """The rows that come first where not all find room."""
    if said.verdict:
        return [[(_brief(line, width), said.tone)] for line in (*said.verdict, said.from_top)][:height]
    rows = [
        _call(said, width),
        [(shortened(_landing_line(said, width), width), _landing_tone(said))],
        [(shortened(said.from_top, width), "plain")],
        _last_word(said, width),
    ]
    return rows[: max(0, height)]


def _last_word(said: Advice, width: int) -> list[Run]:
    """In one row what keeps the move small, else why."""
    if not said.note:
        return [(line, "dim") for line in _whole_clauses(said.reason, width, 1)]
    forms = (said.note, said.short_note or said.note)
    return [
        (next((form for form in forms if len(form) <= width), shortened(forms[-1], width)), _note_tone(said))
    ]


def _landing_line(said: Advice, width: int) -> str:
    both = f"{said.landing}  {said.likely}".rstrip()
    return both if len(both) <= width else said.landing


def _call(said: Advice, width: int) -> list[Run]:
    """The move in words, then where the fader goes, as far as they fit."""
    runs: list[Run] = [(shortened(said.call, width), f"{said.tone} bold")]
    for gap in ("  ", " "):
        if said.travel and len(said.call) + len(gap) + len(said.travel) <= width:
            return [*runs, (gap, "plain"), (said.travel, "plain")]
    return runs


def _landing_tone(said: Advice) -> Tone:
    return "strong" if said.landing_ink == "inside" else f"{said.landing_ink} bold"


def _note_tone(said: Advice) -> Tone:
    return "ceiling" if said.note.startswith("△") else "strong"


def _write_landing(rows: list[Cells], x: int, said: Advice) -> None:
    """The landing in small blocks: the second figure to be read from afar."""
    head, _, level = said.landing.rpartition(" at ")
    head = f"{texts.NEXT_PASS.partition(':')[0]} {head}" if said.verdict else head
    figure, _, unit = level.partition(" ")
    rows[0].put(x, f"{head} at", "dim")
    tone = said.landing_ink
    for y, line in enumerate(digits.small(figure), start=1):
        rows[y].put(x, line, tone)
    shape = wording.SHAPES[said.landing_side]
    rows[_LANDING_HEIGHT - 1].put_row(x, ((f"{shape} {unit} ", tone), (said.likely, "dim")))


def _lines_only(said: Advice, width: int, height: int) -> list[Row]:
    """No room for blocks: the same in plain lines, the move first."""
    sign = {"↓": "▼ ", "↑": "▲ ", "◇": "◇ ", "": ""}[said.sign]
    if said.verdict:
        said = replace(said, verdict=(f"{said.call}: {said.verdict[0]}", *said.verdict[1:]))
    words = _words(said, width - len(sign), height)
    rows: list[Row] = []
    for y, runs in enumerate(words[: max(0, height)]):
        line = Cells(width)
        line.put_row(0, ((sign, f"{said.tone} bold"), *runs) if y == 0 else tuple(runs))
        rows.append(line.row())
    rows += [Cells(width).row() for _ in range(height - len(rows))]
    return rows
