"""The compiled K-weighting (ITU-R BS.1770-5 Annex 1, Tables 1 and 2)."""

from __future__ import annotations

from typing import Any

from sidecar.native.kernels import part
from sidecar.native.lanes import lanes, put_lanes

_PAST = 6
SQUARES = _PAST
"""Where in the memory of a channel the sum of squares is."""
MEMORY = SQUARES + 1
"""Numbers kept of a channel: the last two samples, the last two of either section, and the sum of squares."""
_REST = 1e-30

# No reassociation here: regrouped, the recursion would wait for itself twice as long.
_FLAGS = {"contract", "nsz"}


@part()
def _coefficients(sections: Any) -> Any:
    b, c = sections[0], sections[1]
    return b[0], b[1], b[2], b[4], b[5], c[0], c[1], c[2], c[4], c[5]


@part(fastmath=_FLAGS)
def _next(coefficients: Any, past: Any, x: Any) -> Any:
    """The next weighted sample in each lane, and the past behind it. Only the last product of each recursion
    waits for the value before."""
    b0, b1, b2, a1, a2, c0, c1, c2, d1, d2 = coefficients
    x1, x2, y1, y2, z1, z2 = past
    y = ((b0 * x + (b1 * x1 + b2 * x2)) - a2 * y2) - a1 * y1
    z = ((c0 * y + (c1 * y1 + c2 * y2)) - d2 * z2) - d1 * z1
    return z, (x, x1, y, y1, z, z1)


@part()
def _recalled(memory: Any) -> Any:
    first, second = lanes(memory, 0), lanes(memory, 1)
    return first, second, lanes(memory, 2), lanes(memory, 3), lanes(memory, 4), lanes(memory, 5)


@part()
def _remember(past: Any, memory: Any) -> None:
    """Deep in silence the sections are put to rest: numbers near the smallest there are would cost many
    times as much to calculate with."""
    for k in range(_PAST):
        put_lanes(past[k], memory, k)
    for row in memory:
        for k in range(_PAST):
            row[k] = row[k] if abs(row[k]) > _REST else 0.0


@part(fastmath=_FLAGS)
def weigh(rows: Any, sections: Any, memory: Any, outs: Any) -> None:
    """K-weights channels side by side.

    rows: a tuple of float32 rows, shape (n,). sections: see :func:`~sidecar.meter.weighting.k_weighting`.
    memory: for each its row of MEMORY numbers, carried from call to call. outs: for each a row of float64,
    shape (n,).
    """
    coefficients, past = _coefficients(sections), _recalled(memory)
    for i in range(rows[0].size):
        z, past = _next(coefficients, past, lanes(rows, i))
        put_lanes(z, outs, i)
    _remember(past, memory)


@part(fastmath=_FLAGS)
def add_squares(rows: Any, sections: Any, memory: Any) -> None:
    """K-weights as :func:`weigh`, and adds the squares to what *memory* holds of each channel."""
    coefficients, past = _coefficients(sections), _recalled(memory)
    squares = lanes(memory, SQUARES)
    for i in range(rows[0].size):
        z, past = _next(coefficients, past, lanes(rows, i))
        squares = squares + z * z
    put_lanes(squares, memory, SQUARES)
    _remember(past, memory)


@part(fastmath={"contract", "reassoc", "nsz"})
def product(a: Any, b: Any) -> float:
    """Sum of the products of two rows of float64."""
    total = 0.0
    for i in range(a.size):
        total += a[i] * b[i]
    return total
