"""Lights: what a lamp shows of a run, and when. Pure: no sockets, and time is an argument."""

from sidecar.lights.conditions import conditions
from sidecar.lights.light import Light, all_lights, light_faults, load_light
from sidecar.lights.machine import LightMachine

__all__ = ["Light", "LightMachine", "all_lights", "conditions", "light_faults", "load_light"]
