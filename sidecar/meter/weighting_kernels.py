"""The compiled K-weighting (ITU-R BS.1770-5 Annex 1, Tables 1 and 2)."""

from __future__ import annotations

from typing import Any

import numpy as np

from sidecar.native.kernels import part

MEMORY = 6
"""Numbers of filter state of a channel: the last two samples, the last two of either section."""
_REST = 1e-30

# No reassociation here: regrouped, the recursion would wait for itself twice as long.
_FLAGS = {"contract", "nsz"}


@part(fastmath=_FLAGS)
def _shelf_zeros(x: Any, section: Any, memory: Any, out: Any) -> None:
    """The part of the first section that looks at samples alone, and so vectorises."""
    b0, b1, b2 = section[0], section[1], section[2]
    before, last = memory[1], memory[0]
    out[0] = b0 * x[0] + (b1 * last + b2 * before)
    if x.size > 1:
        out[1] = b0 * x[1] + (b1 * np.float64(x[0]) + b2 * last)
        before = np.float64(x[x.size - 2])
    else:
        before = last
    late, mid, early = x[2:], x[1:], x
    behind = out[2:]
    for i in range(behind.size):
        behind[i] = b0 * np.float64(late[i]) + (b1 * np.float64(mid[i]) + b2 * np.float64(early[i]))
    memory[0] = x[x.size - 1]
    memory[1] = before


@part(fastmath=_FLAGS)
def _recur(sos: Any, memory_a: Any, memory_b: Any, a: Any, b: Any) -> None:
    """What is left of both sections, of two channels in place; two, since one leaves the processor waiting.

    Only the last product of each recursion waits for the value before.
    """
    a1, a2 = sos[0, 4], sos[0, 5]
    c0, c1, c2, d1, d2 = sos[1, 0], sos[1, 1], sos[1, 2], sos[1, 4], sos[1, 5]
    y1, y2, z1, z2 = memory_a[2], memory_a[3], memory_a[4], memory_a[5]
    v1, v2, w1, w2 = memory_b[2], memory_b[3], memory_b[4], memory_b[5]
    for i in range(a.size):
        y = (a[i] - a2 * y2) - a1 * y1
        v = (b[i] - a2 * v2) - a1 * v1
        z = ((c0 * y + (c1 * y1 + c2 * y2)) - d2 * z2) - d1 * z1
        w = ((c0 * v + (c1 * v1 + c2 * v2)) - d2 * w2) - d1 * w1
        a[i] = z
        b[i] = w
        y2, y1, z2, z1 = y1, y, z1, z
        v2, v1, w2, w1 = v1, v, w1, w
    _remember(memory_a, (y1, y2, z1, z2))
    _remember(memory_b, (v1, v2, w1, w2))


@part()
def _remember(memory: Any, last: Any) -> None:
    """Deep in silence the sections are put to rest: numbers near the smallest there are would cost many
    times as much to calculate with."""
    for k in range(4):
        memory[2 + k] = last[k] if abs(last[k]) > _REST else 0.0


@part()
def weigh(pair: Any, sos: Any, memories: Any, outs: Any) -> None:
    """K-weights two channels.

    pair: two rows of float32, shape (n,), n ≥ 1. sos: see :func:`~sidecar.meter.weighting.k_weighting`.
    memories: two rows of MEMORY numbers, carried from call to call. outs: two rows of float64, shape (n,).
    """
    for k in range(2):
        _shelf_zeros(pair[k], sos[0], memories[k], outs[k])
    _recur(sos, memories[0], memories[1], outs[0], outs[1])


@part(fastmath={"contract", "reassoc", "nsz"})
def product(a: Any, b: Any) -> float:
    """Sum of the products of two rows of float64."""
    total = 0.0
    for i in range(a.size):
        total += a[i] * b[i]
    return total
