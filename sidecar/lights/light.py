"""A light: which OSC message shows what, read from TOML."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal, NamedTuple

from sidecar.alerts.rules import MIN_ON_S
from sidecar.errors import SettingsError
from sidecar.lights.conditions import CONDITIONS, Condition
from sidecar.settings import toml
from sidecar.settings.toml import address, line, number, unusable, word

Kind = Literal["switch", "level", "level-127", "level-255", "colour", "colour-255"]
Pattern = Literal["steady", "pulse", "double"]
Value = tuple[float, ...]
"""What a light shows at one moment: as many numbers as its kind has."""


class Numbers(NamedTuple):
    """What a kind of light is sent."""

    tag: Literal["i", "f"]
    """OSC type tag of each number."""
    size: int
    """How many there are."""
    highest: float
    """The lowest is 0."""


KINDS: dict[Kind, Numbers] = {
    "switch": Numbers("i", 1, 1),
    "level": Numbers("f", 1, 1.0),
    "level-127": Numbers("i", 1, 127),
    "level-255": Numbers("i", 1, 255),
    "colour": Numbers("f", 3, 1.0),
    "colour-255": Numbers("i", 3, 255),
}

_SLOWEST_HZ, _FASTEST_HZ = 0.1, 1.0
"""Ours, well under the 3 flashes a second of WCAG 2.x SC 2.3.1 and ITU-R BT.1702."""
_LONGEST_S = 60.0
_LOWEST_INT32, _HIGHEST_INT32 = -(2**31), 2**31 - 1
"""OSC 1.0: a whole number has 32 bits on the wire."""
_SATURATED_RED = 0.8
"""Share of red in red, green and blue from which WCAG's definition of a red flash counts (from memory)."""
_HALVES_LIT: dict[Pattern, tuple[int, frozenset[int]]] = {
    "steady": (1, frozenset({0})),
    "pulse": (2, frozenset({0})),
    "double": (6, frozenset({0, 2})),
}
"""Length of a pattern in half periods, and in which of them the value is shown, in the others the rest."""


@dataclass(frozen=True, slots=True)
class Show:
    """What is shown while any of some conditions holds, or any of them together with another one."""

    when: tuple[Condition, ...]
    value: Value
    rest: Value
    """The other value of a pattern that is not steady."""
    pattern: Pattern = "steady"
    pulse_hz: float = _FASTEST_HZ
    hold_s: float = 0.0
    """How long a condition must hold before it is shown."""
    min_on_s: float = MIN_ON_S
    """How long it is shown at least, unless something that comes before it in the file takes its place."""

    also: Condition | None = None
    """What must hold as well; None for nothing else."""

    def holds(self, conditions: Collection[Condition]) -> bool:
        """Whether it is to be shown while these conditions hold, and nothing before it in the file."""
        return (self.also is None or self.also in conditions) and any(one in conditions for one in self.when)

    def at(self, shown_s: float) -> Value:
        """The value so many seconds (0 or more) after it was first shown."""
        length, lit = _HALVES_LIT[self.pattern]
        return self.value if int(shown_s * 2.0 * self.pulse_hz) % length in lit else self.rest


@dataclass(frozen=True, slots=True)
class Light:
    """One light. Of its shows the first that holds is shown; where none does, the safe value."""

    name: str
    """Short name, the file's stem: what ``--light`` takes."""
    title: str
    address: str
    kind: Kind
    safe: Value
    shows: tuple[Show, ...]
    before: tuple[int | float | str, ...] = ()
    """Arguments that go before the value in each message."""

    @property
    def tags(self) -> str:
        """OSC type tags of its messages."""
        numbers = KINDS[self.kind]
        return "".join(_tag(argument) for argument in self.before) + numbers.tag * numbers.size


def _tag(argument: int | float | str) -> str:
    if isinstance(argument, str):
        return "s"
    return "i" if isinstance(argument, int) else "f"


_REQUIRED = ("title", "address", "kind", "safe", "show")
_SHOW_REQUIRED = ("when", "value")
_SHOW_OPTIONAL = ("also", "rest", "pattern", "pulse_hz", "hold_s", "min_on_s")


def load_light(name_or_path: str | Path) -> Light:
    """The light of this name, or the one in this file (a Path, or text with a separator or ``.toml``).

    Raises SettingsError when there is no such light, or its file cannot be read or used.
    """
    return _read(toml.find("light", name_or_path))


def all_lights() -> list[Light]:
    """Every light that can be used, by name; one of the person's own replaces a shipped one of its name."""
    return toml.load_all("light", _read)[0]


def light_faults() -> list[SettingsError]:
    """What is wrong with each light file that :func:`all_lights` leaves out."""
    return toml.load_all("light", _read)[1]


def _read(path: Path) -> Light:
    table = toml.read("light", path, _REQUIRED, ("before",))
    kind = word(path, "kind", table["kind"], tuple(KINDS))
    return Light(
        name=path.stem,
        title=line(path, "title", table["title"]),
        address=address(path, "address", table["address"]),
        kind=kind,
        safe=_value(path, "safe", table["safe"], kind),
        shows=_shows(path, table["show"], kind),
        before=_before(path, table.get("before", [])),
    )


def _shows(path: Path, tables: Any, kind: Kind) -> tuple[Show, ...]:
    if not isinstance(tables, list) or not tables or not all(isinstance(table, dict) for table in tables):
        raise unusable(path, "show", tables, "one table or more, each begun by a line [[show]]")
    shows = tuple(_show(path, table, kind) for table in tables)
    _refuse_unseen(path, shows)
    return shows


def _refuse_unseen(path: Path, shows: tuple[Show, ...]) -> None:
    """Raises SettingsError where a show before it holds whenever that one does."""
    shown: set[tuple[Condition, Condition | None]] = set()
    for show in shows:
        for condition in show.when:
            covers = {(condition, None), (condition, show.also), (show.also, None), (show.also, condition)}
            if covers & shown:
                raise unusable(
                    path,
                    "when",
                    condition,
                    "in one [[show]] only, also aside: the second would never be seen",
                )
            shown.add((condition, show.also))


def _show(path: Path, table: dict[str, Any], kind: Kind) -> Show:
    toml.keys(path, "[[show]]", table, _SHOW_REQUIRED, _SHOW_OPTIONAL)
    pattern = word(path, "pattern", table.get("pattern", "steady"), tuple(_HALVES_LIT))
    if pattern == "steady" and (needless := {"rest", "pulse_hz"} & table.keys()):
        key = min(needless)
        raise unusable(path, key, table[key], "left out where the pattern is steady")
    show = Show(
        when=_when(path, table["when"]),
        also=word(path, "also", table["also"], tuple(CONDITIONS)) if "also" in table else None,
        value=_value(path, "value", table["value"], kind),
        rest=_value(path, "rest", table.get("rest", [0] * KINDS[kind].size), kind),
        pattern=pattern,
        pulse_hz=number(path, "pulse_hz", table.get("pulse_hz", _FASTEST_HZ), _SLOWEST_HZ, _FASTEST_HZ),
        hold_s=number(path, "hold_s", table.get("hold_s", 0.0), 0.0, _LONGEST_S),
        min_on_s=number(path, "min_on_s", table.get("min_on_s", MIN_ON_S), 0.0, _LONGEST_S),
    )
    _refuse_red_pulses(path, show)
    return show


def _when(path: Path, value: Any) -> tuple[Condition, ...]:
    words = value if isinstance(value, list) else [value]
    if not words:
        raise unusable(path, "when", value, f"one or more of {', '.join(CONDITIONS)}")
    return tuple(word(path, "when", each, tuple(CONDITIONS)) for each in words)


def _value(path: Path, key: str, value: Any, kind: Kind) -> Value:
    """Numbers of the kind, a single one also without brackets."""
    numbers = KINDS[kind]
    given = value if isinstance(value, list) else [value]
    is_whole = numbers.tag == "i"
    if len(given) != numbers.size or (is_whole and any(isinstance(each, float) for each in given)):
        what = "whole number" if is_whole else "number"
        allowed = f"a {what}" if numbers.size == 1 else f"a list of {numbers.size} {what}s"
        raise unusable(path, key, value, f"{allowed} from 0 to {numbers.highest:g} for a {kind}")
    return tuple(number(path, key, each, 0.0, numbers.highest) for each in given)


def _before(path: Path, value: Any) -> tuple[int | float | str, ...]:
    if not isinstance(value, list):
        raise unusable(path, "before", value, "a list of numbers and texts, such as [3]")
    for each in value:
        if isinstance(each, str):
            line(path, "before", each)
        else:
            number(path, "before", each, _LOWEST_INT32, _HIGHEST_INT32)
    return tuple(value)


def _refuse_red_pulses(path: Path, show: Show) -> None:
    """Saturated red is the colour that most easily causes seizures when it comes and goes."""
    if show.pattern == "steady" or len(show.value) == 1:
        return
    for key, value in (("value", show.value), ("rest", show.rest)):
        if value[0] > 0.0 and value[0] >= _SATURATED_RED * sum(value):
            raise unusable(path, key, list(value), "less red where the pattern is not steady, or made steady")
