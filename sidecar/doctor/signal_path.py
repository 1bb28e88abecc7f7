"""What an output does to the signal on its way to the sidecar, as the sound server reports it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from sidecar.model.units import figure
from sidecar.sources.inputs import PULSE_SERVERS, DeviceInfo
from sidecar.sources.output_process import line_by_hand


@dataclass(frozen=True, slots=True)
class Found:
    """The result of one check."""

    what: str
    is_well: bool
    detail: str
    """The measured value; where the check failed, what to do."""
    is_missing_extra: bool = False
    """True for what is not installed, and what few runs need."""


def check(device: DeviceInfo) -> Iterator[Found]:
    """Yields what is known of the output that *device* is the monitor of, where a server reports it."""
    if device.host_api not in PULSE_SERVERS:
        return
    yield _format(device)
    yield _volume(device)
    yield from _players(device)


def _format(device: DeviceInfo) -> Found:
    form = f"{device.sample_format}, {len(device.positions)} channels at {device.default_rate_hz} Hz"
    # PipeWire mixes in floats, and its monitors come before the conversion to the card's format.
    if device.sample_format.startswith("float") or device.host_api == "PipeWire":
        return Found("output's format", True, form)
    line = line_by_hand("mix", len(device.positions), device.default_rate_hz)
    return Found(
        "output's format",
        False,
        f"{form}: clips at 0 dBFS, so that no peak over it is seen. Make one of floats with sidecar live "
        f"--make-output mix, or by hand: {line}",
    )


def _volume(device: DeviceInfo) -> Found:
    if device.is_muted:
        return Found(
            "output's volume",
            False,
            f"muted: pactl set-sink-mute {device.monitored} 0; pactl set-source-mute {device.name} 0",
        )
    shown = f"{figure(device.volume_db)} dB"
    if device.volume_db == 0.0:
        return Found("output's volume", True, shown)
    return Found("output's volume", False, f"{shown}: {volume_lines(device)}")


def volume_lines(device: DeviceInfo) -> str:
    """The commands that set output and monitor to 0 dB."""
    sink = f"pactl set-sink-volume {device.monitored} 100%; " if device.monitored else ""
    return f"{sink}pactl set-source-volume {device.name} 100%"


def _players(device: DeviceInfo) -> Iterator[Found]:
    for player in device.players:
        changes = []
        if player.rate_hz != device.default_rate_hz:
            changes.append(
                f"plays at {player.rate_hz} Hz, which is converted to {device.default_rate_hz} Hz: open all "
                "of the chain at one rate"
            )
        if player.volume_db != 0.0:
            changes.append(f"plays at {figure(player.volume_db)} dB: set its stream to 100 %")
        if player.positions != device.output_positions:
            changes.append(
                f"plays with the channel map {','.join(player.positions)}, which is mixed into "
                f"{','.join(device.output_positions)}: give both the same channels"
            )
        yield Found(f"stream of {player.name}", not changes, "; ".join(changes) or "arrives unchanged")
