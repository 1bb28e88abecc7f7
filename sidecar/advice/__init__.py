"""Advice: block energies in, moves out. Pure: no clock, no sockets, no audio."""

from sidecar.advice.landing import LandingAdvisor

__all__ = ["LandingAdvisor"]
