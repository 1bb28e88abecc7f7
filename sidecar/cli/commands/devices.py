"""``sidecar devices``: list the audio inputs."""

from __future__ import annotations

import argparse
import json
import math

from rich.console import Console

from sidecar.cli.terminal.table import open_table
from sidecar.model.foreign_text import printable
from sidecar.sources.inputs import DeviceInfo, list_devices

NONE = "There are no audio inputs: start the sound system or connect a device. Files need none."
HOW_TO_GET_ONE = (
    "None of these looks like a loopback. sidecar guide start explains how to make one. Choose any other "
    "input with --device."
)


def run(options: argparse.Namespace) -> int:
    """Prints all inputs, with those that carry what the machine plays marked."""
    devices = list_devices()
    if options.json:
        print(json.dumps([_as_json(device) for device in devices], indent=1))
        return 0
    if not devices:
        print(NONE)
        return 0
    table = open_table()
    table.add_column("input", overflow="fold")
    for heading in ("system", "channels", "rate"):
        table.add_column(heading, justify="right")
    table.add_column("loopback?")
    for device in devices:
        name = printable(device.name) + (f"\n  {printable(device.description)}" if device.description else "")
        width = str(device.input_channels) if device.width_is_known else "by options"
        table.add_row(name, printable(device.host_api), width, f"{device.default_rate_hz} Hz", _mark(device))
    Console(markup=False, emoji=False).print(table)
    if not any(device.likely_loopback for device in devices):
        print(HOW_TO_GET_ONE)
    return 0


def _mark(device: DeviceInfo) -> str:
    if device.is_in_use:
        return "◆ in use"
    if device.monitored:
        return "◆ yes"
    return "◆ likely" if device.likely_loopback else ""


def _as_json(device: DeviceInfo) -> dict[str, object]:
    return {
        "name": device.name,
        "description": device.description,
        "host_api": device.host_api,
        "input_channels": device.input_channels if device.width_is_known else None,
        "positions": list(device.positions),
        "default_rate_hz": device.default_rate_hz,
        "sample_format": device.sample_format or None,
        "volume_db": device.volume_db if math.isfinite(device.volume_db) else None,
        "muted": device.is_muted,
        "likely_loopback": device.likely_loopback,
        "in_use": device.is_in_use,
    }
