"""Lanes: numbers side by side, which kernels add, subtract and multiply at once.

Where the processor has vectors of that many doubles, an operation on all lanes costs what it costs on one.
The compiler finds them by itself in plain loops, but not where each turn needs the result of the last one, as
in a recursive filter. Uncompiled, lanes are an array.
"""

from __future__ import annotations

from typing import Any

import numpy as np


def lanes(rows: tuple[Any, ...], at: int) -> Any:
    """Returns ``row[at]`` of each of the rows, arrays of one dimension and one type, as float64."""
    return np.array([row[at] for row in rows], np.float64)


def put_lanes(values: Any, rows: tuple[Any, ...], at: int) -> None:
    """Sets ``row[at]`` of each of the rows, of float64, to its lane of *values*."""
    for row, value in zip(rows, values, strict=True):
        row[at] = value
