"""Lights: the states of a run that a lamp shows. Pure but for ``sender``: time is an argument."""

from sidecar.lights.conditions import conditions
from sidecar.lights.light import Light, all_lights, light_faults, load_light
from sidecar.lights.machine import LightMachine

__all__ = ["Light", "LightMachine", "all_lights", "conditions", "light_faults", "load_light"]
