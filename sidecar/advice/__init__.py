"""Advice: block energies in, moves out. Pure: no clock, no sockets, no audio."""

from sidecar.advice.programme.landing import LandingAdvisor
from sidecar.advice.stems.advisor import StemAdvisor

__all__ = ["LandingAdvisor", "StemAdvisor"]
