"""What the channels of a layout are called."""

from __future__ import annotations

_NAMES = {
    "mono": "M",
    "stereo": "L R",
    "5.0": "L R C Ls Rs",
    "5.1": "L R C LFE Ls Rs",
    "7.1": "L R C LFE Lss Rss Lrs Rrs",
    "7.1.4": "L R C LFE Lss Rss Lrs Rrs Ltf Rtf Ltb Rtb",
}


def channel_names(layout: str, channels: int) -> list[str]:
    """Names of *channels* channels: the layout's own, also where it is a list of them, else their numbers."""
    listed = layout.replace(",", " ") if "," in layout else ""
    names = _NAMES.get(layout, listed).split()
    return names if len(names) == channels else [str(number) for number in range(1, channels + 1)]
