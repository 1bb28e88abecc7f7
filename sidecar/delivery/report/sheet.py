"""Drawing in SVG: one sheet to put marks on, and a scale from values to its units.

What a mark looks like is said in ``plot.css`` by its class; a mark's shape carries its meaning too,
so that nothing depends on colour.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from importlib.resources import files
from typing import Literal

from sidecar.delivery.report.markup import Markup, join, tag

Point = tuple[float, float]
Shape = Literal["under", "inside", "over", "ceiling"]

SHAPES: dict[Shape, str] = {"under": "◁", "inside": "◇", "over": "▷", "ceiling": "△"}
"""As on the screen."""

_CORNERS: dict[Shape, tuple[Point, ...]] = {
    "under": ((1, -1), (1, 1), (-1, 0)),
    "inside": ((0, -1.2), (1.2, 0), (0, 1.2), (-1.2, 0)),
    "over": ((-1, -1), (-1, 1), (1, 0)),
    "ceiling": ((-1, 1), (1, 1), (0, -1)),
}
"""y points down."""


def style() -> str:
    """The style sheet of every drawing."""
    return files("sidecar.delivery.report").joinpath("plot.css").read_text(encoding="utf-8")


@dataclass(frozen=True, slots=True)
class Scale:
    """Maps values *low* to *high* evenly onto *start* to *end*; what lies outside is held at the edge."""

    low: float
    high: float
    start: float
    end: float

    def at(self, value: float) -> float:
        share = (min(max(value, self.low), self.high) - self.low) / (self.high - self.low)
        return self.start + share * (self.end - self.start)

    def ticks(self, most: int, steps: Iterable[float]) -> list[float]:
        """Multiples of the first of *steps* that gives at most *most* of them inside."""
        span = self.high - self.low
        step = next((step for step in steps if span / step <= most), span)
        first, last = math.ceil(self.low / step - 1e-9), math.floor(self.high / step + 1e-9)
        return [number * step for number in range(first, last + 1)]


class Sheet:
    """One drawing, *width* by *height* units, with a title and a description for who cannot see it.

    name: unique in a page; title and description are found by it.
    """

    def __init__(self, name: str, size: Point, title: str, description: str) -> None:
        self._name = name
        self._size = size
        self._words = (title, description)
        self._marks: list[Markup] = []

    def line(self, points: Iterable[Point], look: str) -> None:
        self._marks.append(tag("polyline", class_=look, points=_points(points)))

    def area(self, points: Iterable[Point], look: str) -> None:
        self._marks.append(tag("polygon", class_=look, points=_points(points)))

    def box(self, corner: Point, opposite: Point, look: str) -> None:
        (left, right), (top, bottom) = (sorted(pair) for pair in zip(corner, opposite, strict=True))
        self._marks.append(
            tag("rect", class_=look, x=_n(left), y=_n(top), width=_n(right - left), height=_n(bottom - top))
        )

    def text(self, at: Point, words: str, look: str) -> None:
        """look: ``start``, ``middle`` or ``end`` among its classes says which point of the text is *at*."""
        self._marks.append(tag("text", words, class_=look, x=_n(at[0]), y=_n(at[1])))

    def mark(self, at: Point, shape: Shape, size: float = 5.0) -> None:
        """One of the four shapes, centred on *at*."""
        self.area(((at[0] + size * dx, at[1] + size * dy) for dx, dy in _CORNERS[shape]), f"mark {shape}")

    def svg(self, *, alone: bool = False) -> Markup:
        """The drawing as an element of a page, or *alone* as a file with its size and style."""
        width, height = (_n(side) for side in self._size)
        title, description = (f"{self._name}-{word}" for word in ("title", "description"))
        inside = [tag("title", self._words[0], id=title), tag("desc", self._words[1], id=description)]
        extra = {}
        if alone:
            inside.append(tag("style", style()))
            extra = {"xmlns": "http://www.w3.org/2000/svg", "width": width, "height": height}
        return tag(
            "svg",
            join(*inside, *self._marks),
            class_="drawing",
            viewBox=f"0 0 {width} {height}",
            role="img",
            aria_labelledby=f"{title} {description}",
            **extra,
        )


def _points(points: Iterable[Point]) -> str:
    return " ".join(f"{_n(x)},{_n(y)}" for x, y in points)


def _n(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")
