"""Advice: block energies in, moves out. Pure: no clock, no sockets, no audio."""

from sidecar.advice.landing import LandingAdvisor
from sidecar.advice.stems import StemAdvisor

__all__ = ["LandingAdvisor", "StemAdvisor"]
