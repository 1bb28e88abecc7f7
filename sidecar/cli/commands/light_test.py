"""``sidecar light-test``: every state of a light, slowly, or the lights that there are."""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Iterator
from dataclasses import replace

from rich.console import Console

from sidecar.cli.terminal.table import open_table
from sidecar.errors import SettingsError
from sidecar.lights import Light, all_lights, light_faults, load_light
from sidecar.lights.conditions import CONDITIONS, Condition
from sidecar.lights.light import Show
from sidecar.lights.sender import Lamp, Lamps
from sidecar.osc.sockets.destinations import resolve
from sidecar.run.event_loop import EventLoop
from sidecar.settings.locations import own_configs

_CAUTION = (
    "CAUTION: flashing light can cause seizures. Some states pulse, once a second at most. A lamp with a "
    "flash of its own can go beyond that. Ask everyone in the room first. Local rules come first. Ctrl-C "
    "ends in the safe state."
)
_READ_S = 3.0
"""Time to read the caution before anything is sent."""
_SHORTEST_S, _LONGEST_S = 1.0, 60.0


def run(options: argparse.Namespace) -> int:
    """Walks through one light, or lists all; those that cannot be read are named on the error output."""
    if options.name is None:
        _list()
        return 0
    if not _SHORTEST_S <= options.each_s <= _LONGEST_S:
        raise SettingsError(
            f"--each: give {_SHORTEST_S:g} to {_LONGEST_S:g} seconds, not {options.each_s:g}."
        )
    light = load_light(options.name)
    if options.place is None:
        raise SettingsError(f"Say where the lamp receives OSC: sidecar light-test {options.name} HOST:PORT")
    _walk(Lamp(_without_holds(light), resolve(options.place)), options.each_s)
    return 0


def _list() -> None:
    table = open_table()
    for heading in ("name", "what it is", "message", "shows"):
        table.add_column(heading, overflow="fold")
    for light in all_lights():
        shown = ", ".join(_named(show, condition) for show in light.shows for condition in show.when)
        table.add_row(light.name, light.title, f"{light.address} ({light.kind})", shown)
    Console(markup=False, emoji=False).print(table)
    print(f"Your own go into {own_configs() / 'lights'}, a TOML file each.")
    print("Try one with: sidecar light-test NAME HOST:PORT")
    for fault in light_faults():
        print(f"sidecar: {fault}", file=sys.stderr)


def _without_holds(light: Light) -> Light:
    shows = tuple(replace(show, hold_s=0.0, min_on_s=0.0) for show in light.shows)
    return replace(light, shows=shows)


def _walk(lamp: Lamp, each_s: float) -> None:
    light, place = lamp.light, lamp.destination.name
    print(f"{_CAUTION}\n{light.title}, {light.address} at {place}: starts in {_READ_S:g} s.", flush=True)
    time.sleep(_READ_S)
    with EventLoop() as engine:
        lamps = Lamps([lamp])
        engine.run(lamps.open())
        try:
            for line, show in _steps(light):
                engine.soon(lamps.show_conditions, _conditions(show))
                print(line, flush=True)
                time.sleep(each_s)
        except KeyboardInterrupt:
            pass
        finally:
            engine.run(lamps.close())
    print(f"Safe state {_numbers(light.safe)} sent; the end.")
    if fault := lamps.status()[0].fault:
        print(f"The last message could not be sent: {fault}")


def _steps(light: Light) -> Iterator[tuple[str, Show | None]]:
    """Yields each state from the least important to the most, with the line that describes it."""
    count = len(light.shows) + 1
    yield f"1 of {count}  safe: nothing known, nothing wrong  steady {_numbers(light.safe)}", None
    for place, show in enumerate(reversed(light.shows), start=2):
        meaning = "; ".join(f"{condition}: {CONDITIONS[condition]}" for condition in show.when)
        meaning += f"; also {show.also}: {CONDITIONS[show.also]}" if show.also else ""
        yield f"{place} of {count}  {meaning}  {_look(show)}", show


def _named(show: Show, condition: Condition) -> str:
    return f"{condition} and {show.also}" if show.also else condition


def _conditions(show: Show | None) -> frozenset[Condition]:
    if show is None:
        return frozenset()
    return frozenset((*show.when, show.also) if show.also else show.when)


def _look(show: Show) -> str:
    if show.pattern == "steady":
        return f"steady {_numbers(show.value)}"
    return f"{show.pattern} {_numbers(show.value)} and {_numbers(show.rest)}, {show.pulse_hz:g} a second"


def _numbers(value: tuple[float, ...]) -> str:
    return " ".join(f"{number:g}" for number in value)
