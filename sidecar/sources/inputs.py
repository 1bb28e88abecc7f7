"""Which audio inputs there are, and which one a person means."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass

from sidecar.errors import SourceError
from sidecar.sources.child import start_child

_LISTING_LIMIT_S = 15.0  # cold machines with many drivers take seconds; longer is hung
PREFERRED_RATE_HZ = 48_000  # the rate of sound for picture and of most deliveries
_WIDEST = 12  # channels of the largest layout there is a measure for, 7.1.4
_PLAIN_WIDTH = 2

# Words that the trade uses for an input that carries what the machine plays, likeliest first.
_LOOPBACK_WORDS = ("loopback", "monitor", "stereo mix", "virtual", "cable")

# Windows shows each input once per API. The first of these opens it at the device's own rate.
_API_ORDER = ("Windows WASAPI", "Windows DirectSound", "MME", "Windows WDM-KS")

# Where the default rate that PortAudio tells is the one the device runs at. Elsewhere it always
# says 44100, and other rates "work" by silent resampling (measured with ALSA).
_APIS_THAT_TELL_THE_RATE = {"Core Audio", "Windows WASAPI", "JACK Audio Connection Kit", "ASIO"}


@dataclass(frozen=True, slots=True)
class DeviceInfo:
    """One audio input."""

    name: str
    host_api: str
    input_channels: int
    """As reported by PortAudio; see :attr:`width_is_known`."""
    default_rate_hz: int

    @property
    def likely_loopback(self) -> bool:
        """True when its name says that it carries what the machine plays."""
        return _loopback_rank(self.name) is not None

    @property
    def label(self) -> str:
        """The name with the API, which distinguishes it from the same input in another one."""
        return f"{self.name} ({self.host_api})"

    @property
    def width_is_known(self) -> bool:
        """False for ALSA's plug-ins (default, pulse, pipewire): they take any number of channels and
        tell 32 or 128, whatever the output they listen to has. Real cards are named ``… (hw:0,0)``."""
        return self.host_api != "ALSA" or "(hw:" in self.name

    def rates_after(self, rate_hz: int) -> tuple[int, ...]:
        """The rates to try, best first, when it was last open at *rate_hz* or that one is preferred: the
        device's own goes first where it tells one."""
        rates = (rate_hz, self.default_rate_hz)
        if self.host_api in _APIS_THAT_TELL_THE_RATE:
            rates = (self.default_rate_hz, rate_hz)
        return tuple(dict.fromkeys((*rates, PREFERRED_RATE_HZ)))


def list_devices() -> list[DeviceInfo]:
    """All audio inputs as they are now, asked for in a short process of its own.

    The list is empty when there are none. Raises SourceError when the audio library is missing,
    hangs, or ends its process.
    """
    process = start_child("sidecar.sources.portaudio")
    with process:
        try:
            answer, _ = process.communicate(timeout=_LISTING_LIMIT_S)
        except subprocess.TimeoutExpired:
            process.kill()
            raise SourceError(
                f"The sound system did not list its inputs within {_LISTING_LIMIT_S:.0f} s. "
                "It hangs: restart it, or unplug the device that was added last."
            ) from None
    if not answer:
        raise SourceError(
            f"The audio library ended while listing the inputs (exit status {process.returncode}). "
            "The sound system's configuration may be damaged; see audio.log in the log folder."
        )
    said = json.loads(answer)
    if "error" in said:
        raise SourceError(said["error"])
    return [
        DeviceInfo(given["name"], given["host_api"], given["input_channels"], given["default_rate_hz"])
        for given in said["inputs"]
    ]


def _loopback_rank(name: str) -> int | None:
    """0 for the likeliest; None for an input that is probably a microphone."""
    for rank, word in enumerate(_LOOPBACK_WORDS):
        if word in name.casefold():
            return rank
    # The name "pulse" says nothing; the source it was pointed at does.
    if name == "pulse" and os.environ.get("PULSE_SOURCE", "").endswith(".monitor"):
        return len(_LOOPBACK_WORDS)
    return None


def choose(devices: Sequence[DeviceInfo], wanted: str | None) -> DeviceInfo:
    """The input that a person named, or without a name the likeliest loopback.

    A name may be part of one, in any case; an exact name wins. Raises SourceError, with the names
    there are, when none or several match.
    """
    if not devices:
        raise SourceError(
            "There are no audio inputs on this machine. Start the sound system or connect a device, "
            "then see: sidecar devices"
        )
    return _likeliest(devices) if wanted is None else _named(devices, wanted)


def _likeliest(devices: Sequence[DeviceInfo]) -> DeviceInfo:
    ranked = [(rank, device) for device in devices if (rank := _loopback_rank(device.name)) is not None]
    if ranked:
        return min(ranked, key=lambda entry: (entry[0], _api_rank(entry[1])))[1]
    advice = "Name the input that carries the mix; sidecar devices lists them."
    if sys.platform == "linux":
        advice += (
            " On PulseAudio and PipeWire: set PULSE_SOURCE to the output's monitor (pactl list short "
            "sources shows it, its name ends in .monitor) and choose the input pulse."
        )
    raise SourceError(f"No input looks like a loopback of what this machine plays. {advice}")


def _named(devices: Sequence[DeviceInfo], wanted: str) -> DeviceInfo:
    key = wanted.casefold()
    exact = [device for device in devices if key in (device.name.casefold(), device.label.casefold())]
    found = exact or [device for device in devices if key in device.label.casefold()]
    if not found:
        raise SourceError(f"No input is called {wanted!r}. There are: {_labels(devices)}.")
    best = min(map(_api_rank, found))
    found = [device for device in found if _api_rank(device) == best]
    if len(found) > 1:
        raise SourceError(f"{wanted!r} may be any of: {_labels(found)}. Give the whole name of one.")
    return found[0]


def _api_rank(device: DeviceInfo) -> int:
    return _API_ORDER.index(device.host_api) if device.host_api in _API_ORDER else len(_API_ORDER)


def _labels(devices: Sequence[DeviceInfo]) -> str:
    return ", ".join(device.label for device in devices)


def channels_to_use(
    device: DeviceInfo, channels: int | None, pick: Sequence[int] | None
) -> tuple[int, tuple[int, ...]]:
    """How many channels to record, and which of them (from 0) to give on, in which order.

    A device is recorded in its whole width, for fewer would be mixed or cut by the system; where it
    does not tell its width, *channels* does. Raises SourceError when that cannot be done.
    """
    if channels is not None and not 1 <= channels <= device.input_channels:
        raise SourceError(f"{device.label} has 1 to {device.input_channels} channels, not {channels}.")
    recorded = device.input_channels
    if not device.width_is_known:
        recorded = channels or min(_PLAIN_WIDTH, device.input_channels)
    if pick is not None:
        return recorded, _picked(device, recorded, channels, pick)
    if channels is None and recorded > _WIDEST:
        raise SourceError(f"{device.label} has {recorded} channels. Say which to listen to, for example 1,2.")
    return recorded, tuple(range(channels or recorded))


def _picked(device: DeviceInfo, recorded: int, channels: int | None, pick: Sequence[int]) -> tuple[int, ...]:
    named = ",".join(map(str, pick))
    if not pick or len(set(pick)) != len(pick):
        raise SourceError(f"The channels to listen to must be different numbers from 1, not {named!r}.")
    if min(pick) >= 1 and max(pick) <= recorded:
        return tuple(number - 1 for number in pick)
    if device.width_is_known or channels is not None:
        raise SourceError(f"{device.label} has channels 1 to {recorded}; {named} cannot be taken from it.")
    raise SourceError(
        f"{device.label} does not tell how many channels it has, and {recorded} are assumed: {named} cannot "
        "be taken from it. Say also how many channels the output it listens to has."
    )
