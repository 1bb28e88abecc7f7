"""Surfaces: the OSC addresses and scale of a workstation's faders, read from TOML."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Literal

from sidecar.advice.faders.tapers import FaderLimits, Taper
from sidecar.errors import SettingsError
from sidecar.model.commands import FaderAt, StemFaderAt
from sidecar.model.readings import SILENCE
from sidecar.model.snapshot import FaderTouch
from sidecar.osc import codec
from sidecar.osc.codec import Value
from sidecar.osc.table.addresses import OUTGOING
from sidecar.settings import toml
from sidecar.settings.toml import address, line, number, unusable, word
from sidecar.surfaces.paging import MOST_STEMS, Paging

Scale = Literal["db", "position"]

STEM = "{stem}"
"""In an address, represents the number of the stem, counted from 1."""
STRIP = "{strip}"
"""Replaces it where the surface shows the stems page by page: the strip, counted from 1."""

_MOST_STRIPS = 128
"""Ours: far more than any panel shows at a time."""
_MOST_DB = 24.0
"""Ours: more than any fader's range; a report above it is not one of a fader in dB."""


@dataclass(frozen=True, slots=True)
class Surface:
    """The addresses at which a workstation takes and reports its master fader, and reports its stems'."""

    name: str
    """Short name, the file's stem."""
    title: str
    fader_address: str
    """Sent by the sidecar."""
    feedback_address: str
    """Sent by the workstation; may be the same."""
    scale: Scale
    """The unit of both: dB, or the position in the fader's travel, 0 to 1."""
    lowest_db: float
    highest_db: float
    """The range in which the sidecar moves the fader; no position above it is sent."""
    taper: Taper = field(default_factory=Taper)
    """The dB value of each position; unused where the scale is dB."""
    stem_feedback_address: str | None = None
    """Reports of the stems' faders, which the sidecar reads and never moves."""
    touch_address: str | None = None
    """Sent by the workstation while a hand is on its master fader; None where it does not report that."""
    query_address: str | None = None
    """Asks the workstation for a report of its master fader; None where it cannot be asked."""
    show: Mapping[str, str] = field(default_factory=dict)
    """Other values that it shows: for paths of the OSC table an address of the surface's own, with
    ``{stem}`` or ``{strip}`` in it where there is one value a stem."""
    pages: Paging | None = None
    """The page that its strips show, the only mutable state of a surface; None where it shows every stem."""

    @property
    def limits(self) -> FaderLimits:
        """The usual limits of a move, within this range."""
        return FaderLimits(lowest_db=self.lowest_db, highest_db=self.highest_db)

    @property
    def rounding_db(self) -> float:
        """How far a report may differ from the position sent and still confirm it: dB values are rounded to
        tenths, positions to 1/127 of the travel, 0.31 dB around unity (common practice, no source)."""
        return 0.1 if self.scale == "db" else 0.3

    @property
    def from_the_workstation(self) -> Surface:
        """The surface as the workstation has it, with the two master fader addresses swapped.

        A workstation reports its fader at any position, so the range has no upper end but _MOST_DB.
        """
        return replace(
            self,
            fader_address=self.feedback_address,
            feedback_address=self.fader_address,
            stem_feedback_address=None,
            touch_address=None,
            query_address=None,
            pages=None,
            highest_db=_MOST_DB,
        )

    def message(self, position_db: float) -> Any:
        """Returns the OSC message that moves the master fader to *position_db*.

        A position above the range becomes its top, NaN becomes silence.
        """
        level_db = SILENCE if math.isnan(position_db) else min(position_db, self.highest_db)
        value = level_db if self.scale == "db" else self.taper.position(level_db)
        return codec.message(self.fader_address, "f", [value])

    def query(self) -> Any | None:
        """Returns the OSC message that asks for the master fader's position; None where there is none."""
        return codec.message(self.query_address, "", []) if self.query_address else None

    def feedback(self, address: str, arguments: list[Any]) -> FaderAt | StemFaderAt | FaderTouch | None:
        """Returns the fader position, or the touch, that a message of the workstation reports; None for other
        messages, the release of a fader among them.

        A stem is named by its number. Raises ValueError, with the reason, for other than one number in range.
        """
        if address == self.feedback_address:
            return FaderAt(self._level_db(address, arguments))
        if address == self.touch_address:
            return FaderTouch() if _is_touch(address, arguments) else None
        stem = self.stem_feedback_address and self._stem(address, self.stem_feedback_address)
        return StemFaderAt(str(stem), self._level_db(address, arguments)) if stem else None

    def placed(self, template: str, values: tuple[Value, ...], blank: Value) -> Iterator[tuple[str, Value]]:
        """Yields address and value of each place of a template: of the one, or of each stem that is shown.

        blank: the value of a strip without a stem.
        """
        if STRIP in template and self.pages:
            values = self.pages.shown(values, blank)
        elif STEM not in template:
            values = values[:1]
        for place, value in enumerate(values, start=1):
            yield _at(template, place), value

    def _stem(self, address: str, template: str) -> int | None:
        """Returns the stem, from 1, that *address* is about; None where it is about none."""
        if self.pages is None:
            return _number_in(address, template, STEM)
        strip = _number_in(address, template, STRIP)
        return strip and self.pages.stem(strip)

    def _level_db(self, address: str, arguments: list[Any]) -> float:
        value = arguments[0] if len(arguments) == 1 else None
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise ValueError(f"{address} needs one number, not {arguments!r}")
        low, high = (SILENCE, _MOST_DB) if self.scale == "db" else (0.0, 1.0)
        if not low <= value <= high:  # also true for NaN
            raise ValueError(f"{address} needs {low:g} to {high:g}, not {value:g}")
        if self.scale == "position":
            return self.taper.gain_db(value)
        # Workstations have many figures for a closed fader; none of them is a level.
        return float(value) if value > codec.WIRE_SILENCE else SILENCE


def _is_touch(address: str, arguments: list[Any]) -> bool:
    """Whether a touch message says that the hand is there: it has no argument, or one that is not 0."""
    if len(arguments) > 1 or not all(isinstance(value, int | float) for value in arguments):
        raise ValueError(f"{address} needs no argument, or one number or truth value, not {arguments!r}")
    return not arguments or bool(arguments[0])


def _number_in(address: str, template: str, word: str) -> int | None:
    """Returns the number that *address* has in place of *word* in *template*; None where none does."""
    before, after = template.split(word)
    digits = address.removeprefix(before).removesuffix(after)
    is_number = digits.isascii() and digits.isdigit() and len(digits) <= 3 and digits[0] != "0"
    return int(digits) if is_number and address == before + digits + after else None


_ADDRESSES = ("fader_address", "feedback_address")
_REQUIRED = ("title", *_ADDRESSES, "scale", "lowest_db", "highest_db")
_PAGING = ("stems_per_page", "page_address")
_ASIDES = ("touch_address", "query_address")
_OPTIONAL = ("taper", "stem_feedback_address", *_ASIDES, *_PAGING, "show")
_PATHS = tuple(row.path for row in OUTGOING)
_STEM_PATHS = tuple(row.path for row in OUTGOING if row.group == "stems")
_SCALES: tuple[Scale, ...] = ("db", "position")


def load_surface(name_or_path: str | Path) -> Surface:
    """The surface of this name, or the one in this file (a Path, or text with a separator or ``.toml``).

    Raises SettingsError when there is no such surface, or its file cannot be read or used.
    """
    return _read(toml.find("surface", name_or_path))


def all_surfaces() -> list[Surface]:
    """Every surface that can be used, by name; one of the person's own replaces a shipped one of its name."""
    return toml.load_all("surface", _read)[0]


def surface_faults() -> list[SettingsError]:
    """What is wrong with each surface file that :func:`all_surfaces` leaves out."""
    return toml.load_all("surface", _read)[1]


def _read(path: Path) -> Surface:
    table = toml.read("surface", path, _REQUIRED, _OPTIONAL)
    scale = word(path, "scale", table["scale"], _SCALES)
    pages = _pages(path, table)
    place = STRIP if pages else STEM
    surface = Surface(
        name=path.stem,
        title=line(path, "title", table["title"]),
        scale=scale,
        lowest_db=number(path, "lowest_db", table["lowest_db"], codec.WIRE_SILENCE, 0.0),
        highest_db=number(path, "highest_db", table["highest_db"], codec.WIRE_SILENCE, _MOST_DB),
        taper=_taper(path, scale, table["taper"]) if "taper" in table else Taper(),
        stem_feedback_address=_stem_feedback(path, table, place),
        show=_show(path, table.get("show", {}), place),
        pages=pages,
        **{key: address(path, key, table[key]) for key in (*_ADDRESSES, *_ASIDES) if key in table},
    )
    _refuse_contradictions(path, surface)
    return surface


def _pages(path: Path, table: dict[str, Any]) -> Paging | None:
    given = [key for key in _PAGING if key in table]
    if not given:
        return None
    if len(given) == 1:
        missing = _PAGING[given == [_PAGING[0]]]
        raise SettingsError(f"{path}: {missing} is missing, which {given[0]} needs. Give both or neither.")
    strips = table["stems_per_page"]
    if isinstance(strips, bool) or not isinstance(strips, int) or not 1 <= strips <= _MOST_STRIPS:
        raise unusable(path, "stems_per_page", strips, f"a whole number from 1 to {_MOST_STRIPS}")
    return Paging(strips, address(path, "page_address", table["page_address"]))


def _stem_feedback(path: Path, table: dict[str, Any], place: str) -> str | None:
    key = "stem_feedback_address"
    return _stem_address(path, key, table[key], place) if key in table else None


def _stem_address(path: Path, key: str, value: Any, place: str) -> str:
    """Returns the template *value*. place: the placeholder of the stem's number, or the strip's."""
    text = line(path, key, value)
    if text.count(place) != 1:
        raise unusable(path, key, value, f"an OSC address with {place} once, such as /stem/{place}/fader")
    address(path, key, text.replace(place, "1"))
    return text


def _taper(path: Path, scale: Scale, value: Any) -> Taper:
    if scale == "db":
        raise unusable(path, "taper", value, 'left out where scale is "db"')
    if not isinstance(value, list) or not all(isinstance(pair, list) and len(pair) == 2 for pair in value):
        raise unusable(path, "taper", value, "a list of pairs [dB, position]")
    points = [
        (
            number(path, "dB in taper", gain_db, codec.WIRE_SILENCE, _MOST_DB),
            number(path, "position in taper", position, 0.0, 1.0),
        )
        for gain_db, position in value
    ]
    try:
        return Taper(points)
    except SettingsError as error:
        raise SettingsError(f"{path}: taper cannot be used. {error}") from error


def _show(path: Path, value: Any, place: str) -> dict[str, str]:
    if not isinstance(value, dict):
        raise unusable(path, "show", value, "a table, begun by a line [show]")
    toml.keys(path, "[show]", value, (), _PATHS)
    return {
        row: _stem_address(path, row, shown_at, place) if row in _STEM_PATHS else address(path, row, shown_at)
        for row, shown_at in value.items()
    }


def _refuse_contradictions(path: Path, surface: Surface) -> None:
    """Raises SettingsError for an empty range, and for one address with two meanings."""
    if surface.highest_db <= surface.lowest_db:
        raise unusable(path, "highest_db", surface.highest_db, f"above lowest_db ({surface.lowest_db:g})")
    if surface.scale == "position" and surface.highest_db > surface.taper.top_db:
        top = f"at most the top of the taper ({surface.taper.top_db:g})"
        raise unusable(path, "highest_db", surface.highest_db, top)
    _refuse_shared_sources(path, surface)
    _refuse_shared_places(path, surface)


def _refuse_shared_sources(path: Path, surface: Surface) -> None:
    """Raises SettingsError where an address that the surface sends has two meanings."""
    template = surface.stem_feedback_address
    sources = {surface.feedback_address}
    if template and _places(template) & sources:
        one = f"another address than feedback_address ({surface.feedback_address}) for every stem"
        raise unusable(path, "stem_feedback_address", template, one)
    sources |= _places(template) if template else set()
    if surface.touch_address in sources:
        raise unusable(path, "touch_address", surface.touch_address, "another address than that of a fader")
    sources |= {surface.touch_address} if surface.touch_address else set()
    if surface.pages and surface.pages.address in sources:
        one = "another address than that of a fader or its touch"
        raise unusable(path, "page_address", surface.pages.address, one)


def _refuse_shared_places(path: Path, surface: Surface) -> None:
    """Raises SettingsError where a shown value would move a fader or change the page, or two values have one
    address. Most layouts send and receive a control at one address, so feedback addresses are checked too."""
    asides = (surface.touch_address, surface.query_address)
    faders = {surface.fader_address, surface.feedback_address, *filter(None, asides)}
    if surface.stem_feedback_address:
        faders |= _places(surface.stem_feedback_address)
    if surface.pages:
        faders.add(surface.pages.address)
    shown: set[str] = set()
    for row, place in surface.show.items():
        places = _places(place)
        if places & faders:
            raise unusable(path, row, place, "another address than that of a fader, which it would move")
        if places & shown:
            raise unusable(path, row, place, "given to one value only")
        shown |= places


def _places(template: str) -> set[str]:
    """Returns the address, or those of all stems or strips."""
    return {_at(template, place) for place in range(1, MOST_STEMS + 1)}


def _at(template: str, place: int) -> str:
    """Returns the address of the stem, or the strip, of that number."""
    return template.replace(STEM, str(place)).replace(STRIP, str(place))
