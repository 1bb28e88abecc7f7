"""What a goal may ask of a file besides its loudness: all optional, and off where a goal does not name it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal, TypeVar, get_args

from sidecar.settings.toml import keys, line, number, unusable

Depth = int | Literal["float"]
NoteKind = Literal[
    "clipping",
    "dead channel",
    "dual mono",
    "inverted channel",
    "dc offset",
    "silence",
    "dropout",
    "held samples",
    "encoding",
    "claims",
    "format",
    "length",
    "layout",
    "range",
]
"""What a note on a file can be about."""

_DEPTHS: tuple[Depth, ...] = (8, 16, 20, 24, 32, "float")
_RATE_HZ = (1_000, 768_000)
_LONGEST_S = 3_600.0
_KEYS = (
    "sample_rates_hz",
    "bit_depths",
    "layouts",
    "head_silence_s",
    "tail_silence_s",
    "failing_notes",
)
Each = TypeVar("Each")


@dataclass(frozen=True, slots=True)
class SilenceLimits:
    """From the least to the most that passes, seconds."""

    least_s: float = 0.0
    """Shorter fails, seconds."""
    most_s: float = float("inf")
    """Longer fails, seconds."""


@dataclass(frozen=True, slots=True)
class DeliveryRules:
    """The rules that a goal has; None or empty where it has none of a kind."""

    sample_rates_hz: tuple[int, ...] = ()
    """Those that pass, Hz."""
    bit_depths: tuple[Depth, ...] = ()
    """Bits of linear PCM, or ``float``."""
    layouts: tuple[str, ...] = ()
    """Names, or comma lists of positions in the order of the channels."""
    head_silence_s: SilenceLimits | None = None
    """Of what no sample passes −60 dBFS in."""
    tail_silence_s: SilenceLimits | None = None
    """As at the head."""
    failing_notes: tuple[NoteKind, ...] = ()
    """Notes that fail a file."""


def rules_from(path: Path, table: Any) -> DeliveryRules:
    """The rules in a goal's table ``[delivery]``. Raises SettingsError for what cannot be used."""
    if not isinstance(table, dict):
        raise unusable(path, "delivery", table, "a table, [delivery]")
    keys(path, "table [delivery]", table, (), _KEYS)
    return DeliveryRules(
        sample_rates_hz=_list(path, "sample_rates_hz", table, _rate),
        bit_depths=_list(path, "bit_depths", table, _depth),
        layouts=_list(path, "layouts", table, line),
        head_silence_s=_span(path, "head_silence_s", table),
        tail_silence_s=_span(path, "tail_silence_s", table),
        failing_notes=_list(path, "failing_notes", table, _note),
    )


def _list(path: Path, key: str, table: dict[str, Any], read: Any) -> tuple[Any, ...]:
    values = table.get(key, [])
    if not isinstance(values, list):
        raise unusable(path, key, values, "a list, such as [ … ]")
    return tuple(read(path, key, value) for value in values)


def _rate(path: Path, key: str, value: Any) -> int:
    if isinstance(value, int) and not isinstance(value, bool) and _RATE_HZ[0] <= value <= _RATE_HZ[1]:
        return value
    raise unusable(path, key, value, f"whole numbers of Hz from {_RATE_HZ[0]} to {_RATE_HZ[1]}")


def _depth(path: Path, key: str, value: Any) -> Depth:
    return _one_of(path, key, value, _DEPTHS)


def _note(path: Path, key: str, value: Any) -> NoteKind:
    return _one_of(path, key, value, get_args(NoteKind))


def _one_of(path: Path, key: str, value: Any, allowed: tuple[Each, ...]) -> Each:
    for known in allowed:
        if value == known and not isinstance(value, bool):
            return known
    raise unusable(path, key, value, f"of {', '.join(map(str, allowed))}")


def _span(path: Path, key: str, table: dict[str, Any]) -> SilenceLimits | None:
    value = table.get(key)
    if value is None:
        return None
    if not isinstance(value, dict) or not value or not value.keys() <= {"least", "most"}:
        raise unusable(path, key, value, "{ least = …, most = … }, or one of the two")
    least_s = number(path, f"{key}.least", value.get("least", 0.0), 0.0, _LONGEST_S)
    if "most" not in value:
        return SilenceLimits(least_s)
    return SilenceLimits(least_s, number(path, f"{key}.most", value["most"], least_s, _LONGEST_S))
