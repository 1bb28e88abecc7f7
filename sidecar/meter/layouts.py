"""Which loudspeaker a channel feeds, and what it weighs (ITU-R BS.1770-5 Annexes 1 and 3)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from sidecar.errors import SignalError

SIDE_WEIGHT = 1.41
"""BS.1770-5 Annex 1, Table 3: 1.41 is printed there, not the square root of two."""

_POSITIONS: dict[str, tuple[float, float]] = {
    "L": (30, 0),
    "R": (-30, 0),
    "C": (0, 0),
    "M": (0, 0),
    "Lc": (22.5, 0),
    "Rc": (-22.5, 0),
    "Ls": (110, 0),
    "Rs": (-110, 0),
    "Lss": (90, 0),
    "Rss": (-90, 0),
    "Lrs": (135, 0),
    "Rrs": (-135, 0),
    "Cs": (180, 0),
    "Ltf": (45, 30),
    "Rtf": (-45, 30),
    "Ctf": (0, 30),
    "Ts": (0, 90),
    "Ltm": (90, 30),
    "Rtm": (-90, 30),
    "Ctb": (180, 30),
    "Ltb": (135, 30),
    "Rtb": (-135, 30),
}
"""Azimuth and elevation in degrees, azimuth positive to the left (ITU-R BS.2051 systems B, I, J; ``Lc`` and
``Rc``, between left or right and centre, from memory; any angle there weighs the same)."""

_LAYOUTS: dict[str, str] = {
    "mono": "M",
    "stereo": "L,R",
    "5.0": "L,R,C,Ls,Rs",
    "5.1": "L,R,C,LFE,Ls,Rs",
    "7.1": "L,R,C,LFE,Lss,Rss,Lrs,Rrs",
    "7.1.4": "L,R,C,LFE,Lss,Rss,Lrs,Rrs,Ltf,Rtf,Ltb,Rtb",
}

_BY_CHANNELS = {1: "mono", 2: "stereo", 5: "5.0", 6: "5.1", 8: "7.1", 12: "7.1.4"}


@dataclass(frozen=True, slots=True)
class Layout:
    """Channels in the order in which they arrive."""

    name: str
    """As it was asked for: ``stereo``, ``5.1``, a comma list of positions; ``weights`` for explicit ones."""
    weights: tuple[float, ...]
    """Factor on each channel's power; 0 keeps a channel (the LFE) out of the loudness."""

    @property
    def channels(self) -> int:
        """How many there are, those left out of the loudness too."""
        return len(self.weights)


def annex3_weight(azimuth_deg: float, elevation_deg: float) -> float:
    """Weight of a loudspeaker by its place: BS.1770-5 Annex 3, 1.41 at the sides and 1.0 elsewhere.

    azimuth_deg: 0 is in front, either direction, any turn. elevation_deg: 0 is at ear height.
    """
    turn = abs((azimuth_deg + 180.0) % 360.0 - 180.0)
    at_the_side = abs(elevation_deg) < 30.0 and 60.0 <= turn <= 120.0
    return SIDE_WEIGHT if at_the_side else 1.0


def layout_from(text: str) -> Layout:
    """A layout by its name, or by a comma list of positions in channel order ("L,R,Ls,Rs,C,LFE").

    Raises SignalError when the name or a position is not known.
    """
    positions = _positions(text)
    unknown = [p for p in positions if not _is_known(p)]
    if unknown:
        raise SignalError(
            f"Layout '{text}' is not known (at '{unknown[0]}'). Use one of {', '.join(_LAYOUTS)}, or a comma "
            f"list of the positions {', '.join(_POSITIONS)}, LFE in the order of the channels."
        )
    weights = tuple(0.0 if p == "LFE" else annex3_weight(*_POSITIONS[p]) for p in positions)
    return Layout(layout_name(positions), weights)


def channel_names(layout: str, channels: int) -> tuple[str, ...]:
    """What each channel of a layout is called, in order: its position ("L", "R", "C", "LFE", "Ls" …), or its
    number from 1 where the layout is no list of so many known positions, as with explicit weights.

    layout: as :attr:`Layout.name` says it.
    """
    positions = _positions(layout)
    if len(positions) == channels and all(map(_is_known, positions)):
        return tuple(positions)
    return tuple(str(k + 1) for k in range(channels))


def layout_name(positions: Sequence[str]) -> str:
    """The name of the layout that has these positions in this order, or the comma list of them."""
    listed = ",".join(positions)
    return next((name for name, usual in _LAYOUTS.items() if usual == listed), listed)


LayoutOrigin = Literal["file", "output", "--layout", "assumed"]
"""Where a layout comes from: the file or the sound server's output names its loudspeakers, the option does,
or it is the usual one of so many channels."""

ORIGIN_WORDS: dict[LayoutOrigin, str] = {
    "file": "from the file",
    "output": "from the output",
    "--layout": "from --layout",
    "assumed": "assumed",
}


def choose_layout(
    asked: str | None, named: Sequence[str] | None, channels: int
) -> tuple[Layout, LayoutOrigin]:
    """The layout to measure with, and where it comes from.

    Parameters
    ----------
    asked
        What ``--layout`` names, which comes before all else; None where it is not given.
    named
        The positions that the file names in the order of its channels; None where it names none.
    channels
        How many there are.

    Raises
    ------
    SignalError
        When nothing says which loudspeakers the channels feed, or the names are not known.
    """
    if asked is not None:
        return layout_from(asked), "--layout"
    if named is not None:
        return layout_from(",".join(named)), "file"
    return layout_for(channels), "assumed"


def assumed_loudspeakers(layout: str, origin: LayoutOrigin, channels: int) -> str:
    """The loudspeakers that are in doubt because nothing says them, as a comma list; empty where none are.
    That one or two channels are in front goes without saying."""
    if origin != "assumed" or channels <= 2:
        return ""
    return ",".join(channel_names(layout, channels))


def contradicts(layout: Layout, named: Sequence[str] | None) -> bool:
    """True where *layout* puts a channel elsewhere than the positions that the file names."""
    return named is not None and _positions(layout.name) != _positions(layout_name(named))


def layout_for(channels: int) -> Layout:
    """Returns the usual layout of that many channels.

    Raises SignalError when there is none, so that no channel is measured with an arbitrary weight.
    """
    name = _BY_CHANNELS.get(channels)
    if name is None:
        usual = ", ".join(f"{n} ({layout})" for n, layout in _BY_CHANNELS.items())
        raise SignalError(
            f"No layout is known for {channels} channels, only for {usual}. "
            "Give the position of each channel, such as 'L,R,C,LFE,Ls,Rs'."
        )
    return layout_from(name)


def layout_of_weights(weights: Sequence[float]) -> Layout:
    """A layout of explicit weights, one a channel; 0 leaves a channel out of the loudness.

    Raises SignalError for no weights, or one that is negative or not a number.
    """
    if not weights or not all(0.0 <= w < float("inf") for w in weights):
        raise SignalError(f"Weights must be finite numbers, 0 or more, one a channel; got {list(weights)}.")
    return Layout("weights", tuple(float(w) for w in weights))


def _positions(layout: str) -> list[str]:
    return [part.strip() for part in _LAYOUTS.get(layout, layout).split(",")]


def _is_known(position: str) -> bool:
    return position == "LFE" or position in _POSITIONS
