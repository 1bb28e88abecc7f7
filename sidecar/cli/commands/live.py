"""``sidecar live``: measure and advise on a loopback input, or on a file."""

from __future__ import annotations

import argparse
import contextlib
import sys
from typing import TYPE_CHECKING

from sidecar.cli.run.build import run_session
from sidecar.cli.run.fader_link import workstation
from sidecar.cli.run.stems import mix_of
from sidecar.errors import SettingsError
from sidecar.model.foreign_text import printable
from sidecar.model.readings import HIGHEST_RATE_HZ, LOWEST_RATE_HZ
from sidecar.run.preloading import preload
from sidecar.run.stem_faders import Mix
from sidecar.sources.device import DeviceSource
from sidecar.sources.file import FileSource
from sidecar.sources.inputs import PREFERRED_RATE_HZ
from sidecar.sources.output import TemporaryOutput
from sidecar.sources.output_process import MOST_CHANNELS, OutputOrder

if TYPE_CHECKING:
    from sidecar.meter.layouts import LayoutOrigin


def run(options: argparse.Namespace) -> int:
    """Runs until the source ends or the person quits."""
    preload()
    mix, reach = mix_of(options), workstation(options)
    with contextlib.ExitStack() as closing:
        source = _source(options, mix, closing)
        layout = _layout(options.layout, None if mix else source)
        run_session(source, options, layout=layout, mix=mix, reach=reach)
    return 0


def _layout(asked: str | None, source: FileSource | DeviceSource | None) -> tuple[str | None, LayoutOrigin]:
    """As the meter takes it, and where it comes from; None where the channels are stems."""
    if asked:
        return asked, "--layout"
    if source is None or not source.positions:
        return None, "assumed"
    return ",".join(source.positions), "file" if isinstance(source, FileSource) else "output"


def _source(
    options: argparse.Namespace, mix: Mix | None, closing: contextlib.ExitStack
) -> FileSource | DeviceSource:
    """Returns the source; *closing* removes the output that was made for it."""
    if options.file is not None:
        _refuse_beside_a_file(options)
        return FileSource(options.file, pace=options.pace)
    if options.pace == "fast":
        raise SettingsError("--pace fast is for --file only: a device plays in real time. Leave it out.")
    pick = _pick(options.pick)
    _refuse_what_cannot_be_measured(options, mix, pick)
    channels = options.channels or (2 * len(mix.names) if mix else None)
    device = options.device
    if options.make_output is not None:
        device = _made_output(options, channels or 2, closing)
    elif options.hear is not None:
        raise SettingsError("--hear belongs to --make-output: give both.")
    return DeviceSource(
        device,
        rate_hz=options.rate,
        channels=channels,
        pick=pick,
        patience_s=options.patience,
    )


def _made_output(options: argparse.Namespace, channels: int, closing: contextlib.ExitStack) -> str:
    """Makes the output that is asked for; returns the name of its monitor."""
    if options.device is not None:
        raise SettingsError("--make-output makes the input that is measured: leave --device out.")
    if not 1 <= channels <= MOST_CHANNELS:
        raise SettingsError(f"--make-output makes 1 to {MOST_CHANNELS} channels, not {channels}.")
    order = OutputOrder(options.make_output, channels, options.rate or PREFERRED_RATE_HZ, options.hear)
    made = TemporaryOutput(order)
    closing.callback(made.close)
    heard = f" It is heard on {printable(made.heard_on)}." if made.heard_on else ""
    print(f"Let the workstation play to the output {made.name}.{heard}", file=sys.stderr, flush=True)
    return f"{made.name}.monitor"


def _refuse_beside_a_file(options: argparse.Namespace) -> None:
    """Raises SettingsError for an option that would have no effect."""
    for option in ("device", "rate", "channels", "pick", "make-output", "hear"):
        if getattr(options, option.replace("-", "_")) is not None:
            raise SettingsError(f"--{option} is for a device, --file for a file: give one of the two.")


def _refuse_what_cannot_be_measured(
    options: argparse.Namespace, mix: Mix | None, pick: tuple[int, ...] | None
) -> None:
    """Raises for an unusable rate or width before the input is opened; later it would be reported twice."""
    if options.rate is not None and not LOWEST_RATE_HZ <= options.rate <= HIGHEST_RATE_HZ:
        raise SettingsError(f"--rate: give {LOWEST_RATE_HZ} to {HIGHEST_RATE_HZ} Hz, not {options.rate:g}.")
    width = len(pick) if pick else options.channels
    if mix and width:
        mix.check_channels(width)


def _pick(text: str | None) -> tuple[int, ...] | None:
    if text is None:
        return None
    parts = text.split(",")
    if not all(part.strip().isdecimal() for part in parts):
        raise SettingsError(f"--pick: give channel numbers from 1, such as 3,4, not '{text}'.")
    return tuple(int(part) for part in parts)
