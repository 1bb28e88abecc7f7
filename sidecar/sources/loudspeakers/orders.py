"""The orders and masks by which file formats name loudspeakers, as data.

Positions are named as :mod:`sidecar.meter.layouts` names them, but for the surrounds: formats call them
"back" (``BL``, ``BR``) and "side" (``SL``, ``SR``), and which loudspeakers these are depends on whether there
is one pair or two. :func:`placed` settles that.
"""

from __future__ import annotations

from collections.abc import Sequence

WAVE_MASK: tuple[str, ...] = (
    *("L", "R", "C", "LFE", "BL", "BR", "Lc", "Rc", "Cs", "SL", "SR"),
    *("Ts", "Ltf", "Ctf", "Rtf", "Ltb", "Ctb", "Rtb"),
)
"""``dwChannelMask`` of WAVE_FORMAT_EXTENSIBLE, bit 0 first: channels come in the order of the bits. FLAC uses
it too (RFC 9639 §8.6.2)."""

FLAC_ORDERS: dict[int, tuple[str, ...]] = {
    1: ("M",),
    2: ("L", "R"),
    3: ("L", "R", "C"),
    4: ("L", "R", "BL", "BR"),
    5: ("L", "R", "C", "BL", "BR"),
    6: ("L", "R", "C", "LFE", "BL", "BR"),
    7: ("L", "R", "C", "LFE", "Cs", "SL", "SR"),
    8: ("L", "R", "C", "LFE", "BL", "BR", "SL", "SR"),
}
"""RFC 9639 §9.1.3, by the number of channels."""

VORBIS_ORDERS: dict[int, tuple[str, ...]] = {
    1: ("M",),
    2: ("L", "R"),
    3: ("L", "C", "R"),
    4: ("L", "R", "BL", "BR"),
    5: ("L", "C", "R", "BL", "BR"),
    6: ("L", "C", "R", "BL", "BR", "LFE"),
    7: ("L", "C", "R", "SL", "SR", "Cs", "LFE"),
    8: ("L", "C", "R", "SL", "SR", "BL", "BR", "LFE"),
}
"""Vorbis I specification §4.3.9; Opus takes the same with channel mapping family 1 (RFC 7845 §5.1.1.2)."""

CHANNEL_LABELS: dict[int, str] = {
    **dict(enumerate(WAVE_MASK, 1)),
    **{33: "Lrs", 34: "Rrs", 37: "LFE", 38: "L", 39: "R", 42: "M"},
    **{49: "Ltm", 51: "Rtm", 52: "Ltb", 53: "Ctb", 54: "Rtb"},
}
"""The channel labels of CAF's ``chan`` chunk, which AIFF's ``CHAN`` repeats (the Core Audio Format's
specification, from memory). The first 18 are also the bits of its mask, which is that of WAVE."""

_TAGGED: tuple[tuple[int, str], ...] = (
    (100, "M"),
    (101, "L R"),
    (102, "L R"),
    (103, "L R"),
    (106, "L R"),
    (108, "L R BL BR"),
    (109, "L R BL BR C"),
    (110, "L R BL BR C Cs"),
    (113, "L R C"),
    (114, "C L R"),
    (115, "L R C Cs"),
    (116, "C L R Cs"),
    (117, "L R C BL BR"),
    (118, "L R BL BR C"),
    (119, "L C R BL BR"),
    (120, "C L R BL BR"),
    (121, "L R C LFE BL BR"),
    (122, "L R BL BR C LFE"),
    (123, "L C R BL BR LFE"),
    (124, "C L R BL BR LFE"),
    (125, "L R C LFE BL BR Cs"),
    (126, "L R C LFE BL BR Lc Rc"),
    (127, "C Lc Rc L R BL BR LFE"),
    (128, "L R C LFE BL BR Lrs Rrs"),
    (129, "L R BL BR C LFE Lc Rc"),
    (131, "L R Cs"),
    (132, "L R BL BR"),
    (133, "L R LFE"),
    (134, "L R LFE Cs"),
    (135, "L R LFE BL BR"),
    (136, "L R C LFE"),
    (137, "L R C LFE Cs"),
    (138, "L R BL BR LFE"),
    (139, "L R BL BR C Cs"),
    (140, "L R BL BR C Lrs Rrs"),
    (141, "C L R BL BR Cs"),
    (142, "C L R BL BR Cs LFE"),
    (143, "C L R BL BR Lrs Rrs"),
    (144, "C L R BL BR Lrs Rrs Cs"),
    (148, "L R BL BR C Lc Rc"),
    (149, "C LFE"),
    (150, "L C R"),
    (151, "L C R Cs"),
    (152, "L C R LFE"),
    (153, "L R Cs LFE"),
    (154, "L C R Cs LFE"),
)
LAYOUT_TAGS: dict[int, tuple[str, ...]] = {
    number << 16 | len(order.split()): tuple(order.split()) for number, order in _TAGGED
}
"""Layout tags of the ``chan`` chunk: a number, and in the lower half how many channels it has (the Core Audio
Format's specification, from memory; checked against libsndfile's table where that has the tag)."""

_BACK, _SIDE = ("BL", "BR"), ("SL", "SR")


def placed(channels: Sequence[str]) -> tuple[str, ...]:
    """The positions of *channels* by the names of :mod:`sidecar.meter.layouts`.

    One pair of surrounds, whatever the format calls it, is that of ITU-R BS.775, at ±110° (``Ls``, ``Rs``).
    Of two pairs the side is ``Lss``, ``Rss`` and the back ``Lrs``, ``Rrs`` (BS.2051 system I: ±90°, ±135°).
    """
    if tuple(channels) == ("C",):
        return ("M",)
    pairs = sum(any(name in channels for name in pair) for pair in (_BACK, _SIDE))
    back, side = (("Lrs", "Rrs"), ("Lss", "Rss")) if pairs == 2 else (("Ls", "Rs"), ("Ls", "Rs"))
    names = dict(zip((*_BACK, *_SIDE), (*back, *side), strict=True))
    return tuple(names.get(name, name) for name in channels)


def of_mask(mask: int, channels: int) -> tuple[str, ...] | None:
    """The positions that a channel mask gives the first *channels* channels; None where its bits are too few
    or not defined. Bits beyond the last channel are left out, as the mask's definition asks."""
    bits = [bit for bit in range(mask.bit_length()) if mask >> bit & 1][:channels]
    if len(bits) < channels or bits[-1] >= len(WAVE_MASK):
        return None
    return placed([WAVE_MASK[bit] for bit in bits])
