"""What a terminal says of its own ground, taken out of what it sends before any of it becomes a key. Pure.

The question is a control of xterm that most terminals know ("Operating System Commands", Ps = 11); it is
answered in the same form, with the colour as X11 writes it: ``rgb:`` and one to four hexadecimal digits each.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from sidecar.settings.taste import Shade

_QUESTION = "\x1b]11;?\x1b\\"
_THROUGH_TMUX = "\x1bPtmux;\x1b\x1b]11;?\x07\x1b\\"
"""Handed on to the terminal outside where its owner allows that; tmux drops it elsewhere."""

_ANSWER = re.compile(r"\x1b\](\d+;[^\x07\x1b]*)(?:\x07|\x1b\\)")
_BEGUN = re.compile(r"\x1b\]\d[^\x07\x1b]{0,60}\x1b?$")
"""An answer whose end has not arrived."""
_BEGUN_AT_ALL = re.compile(r"\x1b\]?$")
_COLOUR = re.compile(r"11;rgba?:([\da-fA-F]{1,4})/([\da-fA-F]{1,4})/([\da-fA-F]{1,4})(?:/[\da-fA-F]{1,4})?$")
_MIDDLE = 0.179
"""Luminance on which black and white differ alike: (L + 0.05)² = 1.05 · 0.05, by the formula below."""


def question(environment: Mapping[str, str]) -> str:
    """Returns what asks a terminal for its ground. Newer tmux answers itself, older ones hand it on."""
    return _QUESTION + _THROUGH_TMUX if environment.get("TMUX") else _QUESTION


class Answers:
    """Divides what a terminal sends into answers and what was typed."""

    def __init__(self) -> None:
        self.is_awaited = True
        """Until the first answer a lone escape may be its beginning; :meth:`waited` lets it go."""
        self._kept = ""

    def divide(self, data: str) -> tuple[str, list[str]]:
        """Returns what was typed, and the whole answers; the beginning of one is kept for the next call."""
        data, self._kept = self._kept + data, ""
        answers = _ANSWER.findall(data)
        if answers:
            self.is_awaited = False
            data = _ANSWER.sub("", data)
        begun = _BEGUN.search(data) or (_BEGUN_AT_ALL.search(data) if self.is_awaited else None)
        if begun is not None:
            data, self._kept = data[: begun.start()], begun[0]
        return data, answers

    def waited(self) -> str:
        """Returns a key that was kept for the beginning of an answer, once nothing has followed it."""
        if not _BEGUN_AT_ALL.fullmatch(self._kept):
            return ""
        key, self._kept = self._kept, ""
        return key


def shade_of(answer: str) -> Shade | None:
    """Returns whether the ground in *answer* is dark or light; None where it names none."""
    found = _COLOUR.match(answer)
    if found is None:
        return None
    red, green, blue = (_linear(int(digits, 16) / (16 ** len(digits) - 1)) for digits in found.groups())
    return "light" if 0.2126 * red + 0.7152 * green + 0.0722 * blue > _MIDDLE else "dark"


def shade_named(colours: str) -> Shade:
    """Returns the shade of the ground in COLORFGBG, which some terminals set: the numbers of text and ground
    among 16 colours, between semicolons (common practice, no source). Dark where it names none."""
    ground = colours.rpartition(";")[2]
    return "light" if ground == "7" or (ground.isdecimal() and 9 <= int(ground) <= 15) else "dark"


def _linear(channel: float) -> float:
    """WCAG 2.x, definition of relative luminance."""
    return channel / 12.92 if channel <= 0.04045 else ((channel + 0.055) / 1.055) ** 2.4
