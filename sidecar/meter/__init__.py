"""Loudness and true peak after ITU-R BS.1770-5, EBU Tech 3341 and EBU Tech 3342. Pure: frames in,
readings out; no clock, no threads, no files."""

from sidecar.meter.layouts import Layout, annex3_weight, layout_for, layout_from
from sidecar.meter.meter import Blocks, Meter
from sidecar.meter.stems import StemBlocks, StemMeter, summed

__all__ = [
    "Blocks",
    "Layout",
    "Meter",
    "StemBlocks",
    "StemMeter",
    "annex3_weight",
    "layout_for",
    "layout_from",
    "summed",
]
