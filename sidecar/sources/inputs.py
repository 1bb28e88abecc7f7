"""Which audio inputs there are, and which one a person means."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from sidecar.errors import SourceError
from sidecar.sources.child import start_child

_LISTING_LIMIT_S = 15.0  # cold machines with many drivers take seconds; longer is hung
PREFERRED_RATE_HZ = 48_000  # the rate of sound for picture and of most deliveries
_WIDEST = 12  # channels of the largest layout there is a measure for, 7.1.4
_PLAIN_WIDTH = 2

# Words that the trade uses for an input that carries what the machine plays, likeliest first.
_LOOPBACK_WORDS = ("loopback", "monitor", r"\bmix\b", "virtual", "cable")

PULSE_SERVERS = frozenset(("PulseAudio", "PipeWire"))
JACK = "JACK"
SERVERS = PULSE_SERVERS | {JACK}

_SERVER_PLUGINS = frozenset(("default", "pipewire", "pulse", "sysdefault"))
"""ALSA's ways to a sound server: which source they lead to is not theirs to say."""

_LINUX_ADVICE = (
    " On PulseAudio and PipeWire an output of its own makes one: sidecar live --make-output mix. On JACK "
    "name the workstation's client with --device."
)

# Windows shows each input once per API. The first of these opens it at the device's own rate. On Linux what a
# server lists itself goes before ALSA's way to it.
_API_ORDER = (
    "PipeWire",
    "PulseAudio",
    JACK,
    "Windows WASAPI",
    "Windows DirectSound",
    "MME",
    "Windows WDM-KS",
)

# Where the default rate that PortAudio reports is the one the device runs at. Elsewhere it always
# says 44100, and other rates "work" by silent resampling (measured with ALSA).
_APIS_THAT_TELL_THE_RATE = {"Core Audio", "Windows WASAPI", "ASIO"}


_LABELS = {
    "front-left": "L",
    "front-right": "R",
    "front-center": "C",
    "lfe": "LFE",
    "top-front-left": "Ltf",
    "top-front-right": "Rtf",
    "top-rear-left": "Ltb",
    "top-rear-right": "Rtb",
}
"""Loudspeakers by the names of a server's channel maps, pulse/channelmap.h."""
_SURROUND_LABELS = (
    {"rear-left": "Ls", "rear-right": "Rs", "side-left": "Ls", "side-right": "Rs"},
    {"rear-left": "Lrs", "rear-right": "Rrs", "side-left": "Lss", "side-right": "Rss"},
)
"""Of the surround channels: in a layout with one pair of them, and with two."""


@dataclass(frozen=True, slots=True)
class PlayerInfo:
    """A stream that plays into a server's output."""

    name: str
    """Of its program."""
    rate_hz: int
    positions: tuple[str, ...]
    volume_db: float
    """Minus infinity while it is muted."""


@dataclass(frozen=True, slots=True)
class DeviceInfo:
    """One audio input."""

    name: str
    host_api: str
    input_channels: int
    """As reported by PortAudio; see :attr:`width_is_known`."""
    default_rate_hz: int
    description: str = ""
    """In the server's words, where it has some."""
    monitored: str = ""
    """The output, or the JACK client, whose signal it carries; empty for a microphone and where unknown."""
    is_in_use: bool = False
    """True for the monitor of the output in use, and for a JACK client that plays to the sound card."""
    positions: tuple[str, ...] = ()
    """The channel map, where the server reports it."""
    output_positions: tuple[str, ...] = ()
    """That of the monitored output."""
    sample_format: str = ""
    """Of the monitored output, as the server names it; empty where unknown."""
    volume_db: float = 0.0
    """Of the output and its monitor, whichever is further from 0 dB."""
    is_muted: bool = False
    players: tuple[PlayerInfo, ...] = ()
    """What plays into the monitored output."""

    @property
    def likely_loopback(self) -> bool:
        """True when it carries what the machine plays, or its name says so."""
        return bool(self.monitored) or (not self.is_of_server and _loopback_rank(self.name) is not None)

    @property
    def is_of_server(self) -> bool:
        """True when a sound server listed it, which names each source with its width and rate."""
        return self.host_api in SERVERS

    @property
    def label(self) -> str:
        """The name with the API, which distinguishes it from the same input in another one."""
        return f"{self.name} ({self.host_api})"

    @property
    def width_is_known(self) -> bool:
        """False for ALSA's plug-ins (default, pulse, pipewire): they take any number of channels and
        tell 32 or 128, whatever the output they listen to has. Real cards are named ``… (hw:0,0)``."""
        return self.host_api != "ALSA" or "(hw:" in self.name

    @classmethod
    def from_json(cls, given: dict[str, Any]) -> DeviceInfo:
        """The input as a listing process printed it."""
        maps = {name: tuple(given.get(name, ())) for name in ("positions", "output_positions")}
        players = tuple(
            PlayerInfo(**{**player, "positions": tuple(player["positions"])})
            for player in given.get("players", ())
        )
        return cls(**{**given, **maps, "players": players})

    def rates_after(self, rate_hz: int) -> tuple[int, ...]:
        """The rates to try, best first, when it was last open at *rate_hz* or that one is preferred: the
        device's own goes first where it reports one."""
        rates = (rate_hz, self.default_rate_hz)
        if self.is_of_server:
            return (self.default_rate_hz,)
        if self.host_api in _APIS_THAT_TELL_THE_RATE:
            rates = (self.default_rate_hz, rate_hz)
        return tuple(dict.fromkeys((*rates, PREFERRED_RATE_HZ)))


@dataclass(frozen=True, slots=True)
class Inputs:
    """What the sound systems of this machine list."""

    devices: list[DeviceInfo]
    faults: list[str]
    """A sentence for each system that could not be asked."""


def list_devices() -> list[DeviceInfo]:
    """All audio inputs as they are now; empty when there are none.

    Raises SourceError when there are none and a sound system could not be asked.
    """
    inputs = ask_inputs()
    if inputs.faults and not inputs.devices:
        raise SourceError(" ".join(inputs.faults))
    return inputs.devices


def ask_inputs() -> Inputs:
    """All audio inputs as they are now, asked for in short processes of their own.

    A sound system that hangs or ends its process takes nothing with it.
    """
    questions = [start_child("sidecar.sources.portaudio")]
    if sys.platform == "linux":
        questions.append(start_child("sidecar.sources.servers"))
    cards, *servers = [_answer(process) for process in questions]
    asked = [device for answer in servers for device in answer.devices]
    faults = [fault for answer in (*servers, cards) for fault in answer.faults]
    return Inputs([*asked, *_beside(asked, cards.devices)], faults)


def _answer(process: subprocess.Popen[bytes]) -> Inputs:
    with process:
        try:
            answer, _ = process.communicate(timeout=_LISTING_LIMIT_S)
        except subprocess.TimeoutExpired:
            process.kill()
            return Inputs(
                [],
                [
                    f"The sound system did not list its inputs within {_LISTING_LIMIT_S:.0f} s. "
                    "It hangs: restart it, or unplug the device that was added last."
                ],
            )
    if not answer:
        return Inputs(
            [],
            [
                f"The audio library ended while listing the inputs (exit status {process.returncode}). "
                "The sound system's configuration may be damaged; see audio.log in the log folder."
            ],
        )
    said = json.loads(answer)
    return Inputs([DeviceInfo.from_json(given) for given in said["inputs"]], said["faults"])


def _beside(asked: Sequence[DeviceInfo], cards: Sequence[DeviceInfo]) -> Iterator[DeviceInfo]:
    """What PortAudio adds to the inputs of servers: no second way to one that was asked."""
    apis = {device.host_api for device in asked}
    for device in cards:
        leads_to_pulse = device.host_api == "ALSA" and device.name in _SERVER_PLUGINS
        leads_to_jack = device.host_api == "JACK Audio Connection Kit" or device.label == "jack (ALSA)"
        if not (leads_to_pulse and apis & PULSE_SERVERS) and not (leads_to_jack and JACK in apis):
            yield device


def _loopback_rank(name: str) -> int | None:
    """0 for the likeliest; None for an input that is probably a microphone."""
    for rank, word in enumerate(_LOOPBACK_WORDS):
        if re.search(word, name.casefold()):
            return rank
    return None


def choose(devices: Sequence[DeviceInfo], wanted: str | None) -> DeviceInfo:
    """The input that a person named, or without a name the one that carries the output in use.

    A name may be part of one or of its description, in any case; an exact name wins, and the name of an
    output means its monitor. Without a name PULSE_SOURCE is followed where it is set. Raises SourceError,
    with the names there are, when none or several match.
    """
    if not devices:
        raise SourceError(
            "There are no audio inputs on this machine. Start the sound system or connect a device, "
            "then see: sidecar devices"
        )
    of_pulse = [device for device in devices if device.host_api in PULSE_SERVERS]
    if of_pulse and (wanted is None or wanted in _SERVER_PLUGINS):
        if pointed := os.environ.get("PULSE_SOURCE"):
            return _named(of_pulse, pointed)
        wanted = None
    return _likeliest(devices) if wanted is None else _named(devices, wanted)


def _likeliest(devices: Sequence[DeviceInfo]) -> DeviceInfo:
    in_use = [device for device in devices if device.is_in_use]
    # PipeWire's JACK interface shows the same outputs again.
    in_use = [device for device in in_use if device.host_api == "PipeWire"] or in_use
    if len(in_use) == 1:
        return in_use[0]
    if in_use:
        raise SourceError(
            f"Several outputs are in use: {_labels(in_use)}. Name the one that carries the mix with --device."
        )
    ranked = [
        (rank, device)
        for device in devices
        if not device.is_of_server and (rank := _loopback_rank(device.name)) is not None
    ]
    if ranked:
        return min(ranked, key=lambda entry: (entry[0], _api_rank(entry[1])))[1]
    raise SourceError(
        "No input looks like a loopback of what this machine plays. Name the input that carries the mix; "
        "sidecar devices lists them." + (_LINUX_ADVICE if sys.platform == "linux" else "")
    )


def _named(devices: Sequence[DeviceInfo], wanted: str) -> DeviceInfo:
    key = wanted.casefold()
    exact = [device for device in devices if key in _exact_names(device)]
    found = exact or [
        device for device in devices if key in f"{device.label} {device.description}".casefold()
    ]
    if not found:
        raise SourceError(f"No input is called {wanted!r}. There are: {_labels(devices)}.")
    best = min(map(_api_rank, found))
    found = [device for device in found if _api_rank(device) == best]
    if len(found) > 1:
        raise SourceError(f"{wanted!r} may be any of: {_labels(found)}. Give the whole name of one.")
    return found[0]


def _exact_names(device: DeviceInfo) -> set[str]:
    names = (device.name, device.label, device.description, device.monitored)
    return {name.casefold() for name in names if name}


def _api_rank(device: DeviceInfo) -> int:
    return _API_ORDER.index(device.host_api) if device.host_api in _API_ORDER else len(_API_ORDER)


def _labels(devices: Sequence[DeviceInfo]) -> str:
    return ", ".join(device.label for device in devices)


def loudspeakers(positions: Sequence[str]) -> tuple[str, ...] | None:
    """The positions of BS.2051 that a server's names mean; None for up to two, and where one is unknown.

    The rear pair of 5.1 is its surround pair; beside a side pair it is the rear one.
    """
    if len(positions) <= _PLAIN_WIDTH:
        return None
    has_sides = "side-left" in positions and "rear-left" in positions
    labels = tuple(_SURROUND_LABELS[has_sides].get(name) or _LABELS.get(name) for name in positions)
    named = tuple(label for label in labels if label)
    return named if len(set(named)) == len(positions) else None


def channels_to_use(
    device: DeviceInfo, channels: int | None, pick: Sequence[int] | None
) -> tuple[int, tuple[int, ...]]:
    """How many channels to record, and which of them (from 0) to give on, in which order.

    A device is recorded in its whole width, for fewer would be mixed or cut by the system; where it
    does not tell its width, *channels* does. Raises SourceError when that cannot be done.
    """
    if channels is not None and not 1 <= channels <= device.input_channels:
        width = "1 channel" if device.input_channels == 1 else f"1 to {device.input_channels} channels"
        raise SourceError(
            f"{device.label} has {width}, not {channels}. Choose another (sidecar devices), or make one "
            "with --make-output."
        )
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
