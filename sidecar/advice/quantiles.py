"""Quantiles of the normal and of Student's t distribution; the library that has them is slow to import."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_NODES = 32
_MOST_STEPS = 60


def normal(chances: Floats) -> Floats:
    """Standard normal deviates that so large a share of draws lies under. chances: within 0 and 1."""
    from statistics import NormalDist

    inverse = NormalDist().inv_cdf
    return np.array([inverse(chance) for chance in np.ravel(chances).tolist()]).reshape(np.shape(chances))


def student(freedom: float, chances: Floats | float) -> Floats:
    """As :func:`normal`, of Student's t with so many degrees of freedom, 1 or more.

    With t = √ν tan θ the share of draws under t is ½ + C ∫ cos(u)^(ν−1) du from 0 to θ. In θ the upper half
    of that is concave, so that Newton's steps from the normal quantile approach from one side.
    """
    chances = np.asarray(chances, np.float64)
    upper = np.maximum(chances, 1.0 - chances)
    constant = math.exp(math.lgamma((freedom + 1.0) / 2.0) - math.lgamma(freedom / 2.0)) / math.sqrt(math.pi)
    nodes, weights = _gauss_legendre()
    angle = np.arctan(normal(upper) / math.sqrt(freedom))
    for _ in range(_MOST_STEPS):
        inside = np.cos(np.multiply.outer(angle, nodes)) ** (freedom - 1.0) @ weights
        step = (upper - 0.5 - constant * angle * inside) / (constant * np.cos(angle) ** (freedom - 1.0))
        angle = np.minimum(angle + step, math.pi / 2.0)
        if np.all(np.abs(step) <= 1e-15 + 1e-12 * angle):
            break
    return np.asarray(np.copysign(math.sqrt(freedom) * np.tan(angle), chances - 0.5))


@cache
def _gauss_legendre() -> tuple[Floats, Floats]:
    """Nodes and weights for integrals from 0 to 1."""
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    return (nodes + 1.0) / 2.0, weights / 2.0
