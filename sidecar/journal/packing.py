"""Numbers as they lie in the file: little-endian arrays, and JSON for what has named fields.

JSON here is Python's own, with infinities: it gives every float back bit for bit.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sidecar.journal.record import Floats, Singles
from sidecar.model.dialogue import DialogueLoudness
from sidecar.model.readings import Reading
from sidecar.settings.goals import Goal


def pack_doubles(values: NDArray[np.floating]) -> bytes:
    return values.astype("<f8").tobytes()


def pack_singles(values: NDArray[np.floating]) -> bytes:
    return values.astype("<f4").tobytes()


def doubles(parts: Sequence[bytes]) -> Floats:
    """Shape (n,)."""
    return np.frombuffer(b"".join(parts), "<f8").astype(np.float64)


def singles(parts: Sequence[bytes]) -> Singles:
    """Shape (n,)."""
    return np.frombuffer(b"".join(parts), "<f4").astype(np.float32)


def pack_products(covariance: NDArray[np.floating]) -> bytes:
    """Upper triangles of products of shape (n, N, N)."""
    rows, columns = np.triu_indices(covariance.shape[-1])
    return pack_singles(covariance[:, rows, columns])


def products(parts: Sequence[bytes], stems: int) -> Singles:
    """Inverse of :func:`pack_products`: shape (n, N, N)."""
    rows, columns = np.triu_indices(stems)
    packed = singles(parts).reshape(-1, len(rows))
    whole = np.empty((len(packed), stems, stems), np.float32)
    whole[:, rows, columns] = whole[:, columns, rows] = packed
    return whole


def pack_fields(value: Reading | Goal | DialogueLoudness) -> str:
    return json.dumps(asdict(value))


def reading(text: str) -> Reading:
    """Fields of another version that this one does not know are left out."""
    known = _known(Reading, text)
    for name, value in known.items():
        known[name] = tuple(value) if isinstance(value, list) else value
    return Reading(**known)


def goal(text: str) -> Goal:
    """Fields of another version that this one does not know are left out, and so are the rules for files."""
    return Goal(**{**_known(Goal, text), "delivery": None})


def dialogue(text: str) -> DialogueLoudness | None:
    """None where it was not measured. Fields that this version does not know are left out."""
    return DialogueLoudness(**_known(DialogueLoudness, text)) if text else None


def _known(kind: type[Reading | Goal | DialogueLoudness], text: str) -> dict[str, Any]:
    names = {field.name for field in fields(kind)}
    return {name: value for name, value in json.loads(text).items() if name in names}
