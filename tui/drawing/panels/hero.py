"""The next move, set as large as the room allows."""

from __future__ import annotations

import textwrap

from rich.cells import cell_len

from sidecar.model.headline import chosen
from sidecar.model.readings import SILENCE
from tui import texts
from tui.drawing import digits, wording
from tui.drawing.cells import Cells, Row, Tone, shortened
from tui.drawing.panels.advice import Advice, advice, landing_stand
from tui.drawing.view import View

_MARGIN = 2
_GAP = 3
_WORDS_WIDTH = 26
"""Narrower words than these would be cut: the figures are set smaller instead."""
_LANDING_WIDTH = 30
"""Cells that the landing needs to be set in small blocks beside the words."""
_LANDING_HEIGHT = 6
_STEM_WIDTH = 12
"""Cells of a stem's name in the headline; the table has it in full."""


def hero(view: View, width: int, height: int) -> list[Row]:
    """*height* rows of *width* cells that say the next move, or calmly that there is none."""
    said = advice(view.snapshot, relative=view.relative)
    figure = _figure(said, width, height, half_blocks=view.half_blocks)
    if not figure:
        return _lines_only(said, view, width, height)
    rows = [Cells(width) for _ in range(height)]
    top = (height - len(figure)) // 2 if height - len(figure) < 3 else 0
    for y, line in enumerate(figure):
        rows[top + y].put(_MARGIN, line, said.tone)
    x = _MARGIN + max(len(line) for line in figure) + _GAP
    if not said.amount and len(figure) < digits.HEIGHT:
        _write_below(rows, said, len(figure) + top, view)
    else:
        _write_beside(rows, said, x, top, view)
    return [cells.row() for cells in rows]


def _figure(said: Advice, width: int, height: int, *, half_blocks: bool) -> list[str]:
    """The figure or word in blocks; empty when there is no room for any."""
    gap = digits.NARROW if said.amount else " "
    text = (said.sign + gap if said.sign else "") + (said.amount or said.word)
    scales = range(height // digits.HEIGHT, 0, -1) if said.amount else ()
    for scale in scales:
        lines = digits.large(text, scale)
        if _MARGIN + len(lines[0]) + _GAP + _WORDS_WIDTH <= width:
            return lines
    if not half_blocks or height < 4:
        return []
    lines = digits.small(text)
    room = _WORDS_WIDTH + _GAP if said.amount else 0
    return lines if _MARGIN + len(lines[0]) + room <= width else []


def _headline(said: Advice) -> str:
    if not said.amount:
        return said.word.lower()
    stem = f"{shortened(said.stem, _STEM_WIDTH)}: " if said.stem else ""
    return f"{stem}{said.word} {said.amount} dB"


def _scope(said: Advice) -> str:
    return f"{said.fader}, {said.scope}" if said.scope else ""


def _call(said: Advice, view: View, width: int) -> Row:
    """The move in words, then where the fader goes and the caution, as far as they fit."""
    headline = _headline(said)
    room = width - cell_len(headline)
    caution = f"  {said.caution}" if said.caution else ""
    travel = f"  {_travel(said, view)}"
    if len(caution) + len(travel) > room and caution:
        caution = f"  {texts.LOUDER_SHORT}"
    if len(caution) + len(travel) > room:
        travel = ""
    return ((headline, said.tone + " bold"), (travel, "plain"), (caution, "strong"))


def _travel(said: Advice, view: View) -> str:
    """Where the fader stands, and where the move takes it."""
    if view.snapshot.transport == "preparing":
        return ""
    call = chosen(view.snapshot)
    if call.fader_db == SILENCE:
        return texts.ALL_THE_WAY_DOWN
    if not said.amount:
        return f"fader at {wording.signed(call.fader_db)} dB"
    return f"{wording.signed(call.fader_db)} → {wording.signed(call.fader_db + call.move.gain_db)}"


def _words(
    said: Advice, view: View, width: int, height: int, *, landing_apart: bool = False
) -> list[tuple[str, Tone]]:
    """Everything that is said, most important first, in at most *height* lines."""
    landing, likely = ("", "") if landing_apart else (said.landing, said.likely)
    if height < 3 and likely and len(landing) + 2 + len(likely) <= width:
        landing, likely = f"{landing}  {likely}", ""
    firm: list[tuple[str, Tone]] = [
        (landing, "strong"),
        (likely, _landing_tone(view)),
        (said.limit, "ceiling" if said.limit.startswith("△") else "strong"),
    ]
    lines = [(shortened(text, width), tone) for text, tone in firm if text][: max(0, height)]
    room = height - len(lines)
    reason = textwrap.wrap(said.reason, max(8, width))
    if room > 0 and len(reason) > room:
        reason = [*reason[: room - 1], shortened(" ".join(reason[room - 1 :]), width)]
    return lines + [(line, "dim") for line in reason[: max(0, room)]]


def _landing_tone(view: View) -> Tone:
    return landing_stand(view.snapshot.goal, chosen(view.snapshot).move)


def _write_beside(rows: list[Cells], said: Advice, x: int, top: int, view: View) -> None:
    """The words to the right of the figure."""
    width = rows[0].width - x - 1
    roomy = width > _WORDS_WIDTH + 8 + _LANDING_WIDTH and len(rows) - top >= _LANDING_HEIGHT
    apart = roomy and view.half_blocks and bool(said.landing)
    if apart:
        _write_landing(rows, rows[0].width - _LANDING_WIDTH, top, said, view)
        width -= _LANDING_WIDTH
    rows[top].put(x, shortened(_scope(said), width), "dim")
    height = len(rows) - top
    if height < 2:
        return
    rows[top + 1].put_row(x, _call(said, view, width))
    words = _words(said, view, width, height - 2, landing_apart=apart)
    for y, (text, tone) in enumerate(words, start=top + 2):
        rows[y].put(x, text, tone)


def _write_landing(rows: list[Cells], x: int, top: int, said: Advice, view: View) -> None:
    """The landing in small blocks: the second figure to be read from afar."""
    move, goal = chosen(view.snapshot).move, view.snapshot.goal
    rows[top].put(x, "mix lands at" if said.stem else "lands at", "dim")
    text = wording.bare_level(move.landing, goal, relative=view.relative)
    tone = landing_stand(goal, move)
    for y, line in enumerate(digits.small(text), start=top + 1):
        rows[y].put(x, line, tone)
    unit = wording.unit(goal, relative=view.relative)
    rows[top + _LANDING_HEIGHT - 1].put(x, f"{wording.SHAPES[tone]} {unit} {said.likely}", tone)


def _write_below(rows: list[Cells], said: Advice, top: int, view: View) -> None:
    """The words under the figure, where the figure is a word itself."""
    width = rows[0].width - _MARGIN - 1
    room = len(rows) - top
    if room < 1:
        return
    landing = f"{said.scope} {said.landing}  {said.likely}".rstrip() if said.landing else ""
    reason = textwrap.wrap(said.reason, width)
    lines = [text for text in (landing, *reason, _travel(said, view)) if text]
    start = top + (1 if room > len(lines) else 0)
    for y, text in enumerate(lines[:room], start=start):
        rows[y].put(_MARGIN, shortened(text, width), "strong" if text == landing else "dim")


def _lines_only(said: Advice, view: View, width: int, height: int) -> list[Row]:
    """No room for blocks: the same in plain lines, the move first."""
    sign = {"↓": "▼ ", "↑": "▲ ", "◇": "◇ ", "": ""}[said.sign]
    first = Cells(width)
    first.put_row(0, ((sign, said.tone + " bold"), *_call(said, view, width - len(sign))))
    rows = [first]
    for text, tone in _words(said, view, width, height - 1):
        line = Cells(width)
        line.put(0, text, tone)
        rows.append(line)
    rows += [Cells(width) for _ in range(height - len(rows))]
    return [cells.row() for cells in rows[:height]]
