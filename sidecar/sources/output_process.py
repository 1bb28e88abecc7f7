"""An output that goes nowhere, kept on the sound server for as long as a run lasts.

``python -m sidecar.sources.output_process ORDER`` prints one line of JSON when the output is there,
``{"made": name, "heard_on": name}``, or ``{"error": text}``. It removes the output when its standard input
ends, which it does however the run ends, and makes it again when the server comes back. What a killed process
of this kind has left is removed by the next.
"""

from __future__ import annotations

import json
import os
import re
import sys
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from sidecar.errors import SourceError
from sidecar.sources import portaudio
from sidecar.sources.pulse import PulseDevice, PulseServer, connected

MAKER = "loudness_sidecar.maker"
"""The property that names the process which made an output, by its number and its start."""

MOST_CHANNELS = 32
"""Of PulseAudio: PA_CHANNELS_MAX, pulse/sample.h."""

_RETRY_S = 0.5
_APPEAR_S = 5.0
_RIGHT_LOOKS = 3
"""A tenth of a second apart at most: a session manager restores a volume soon after."""
_REMOVE_S = 3.0
_HEAR_LATENCY_MS = 60
_POSITIONS = (
    *("front-left", "front-right", "rear-left", "rear-right", "front-center", "lfe"),
    *("side-left", "side-right"),
)


@dataclass(frozen=True, slots=True)
class OutputOrder:
    """What to make."""

    name: str
    channels: int
    rate_hz: int
    hear_on: str | None
    """Part of the name of the output to hear it on; empty for the one in use, None for none."""

    def to_json(self) -> str:
        return json.dumps(asdict(self))


def channel_map(channels: int) -> tuple[str, ...]:
    """The positions that players give to so many channels: with the same ones nothing is mixed or reordered.

    Those of ALSA's PulseAudio plug-in (measured with version 1.2.7); beyond eight they have no position.
    """
    if channels == 1:
        return ("mono",)
    known = {3: 2, 7: 6}.get(channels, min(channels, len(_POSITIONS)))
    return (*_POSITIONS[:known], *(f"aux{number}" for number in range(channels - known)))


def module_arguments(name: str, channels: int, rate_hz: int) -> str:
    """Of module-null-sink: 32-bit floats, which nothing clips; the right channel map; no rendering ahead."""
    return (
        f"sink_name={name} format=float32le rate={rate_hz} channels={channels} "
        f"channel_map={','.join(channel_map(channels))} norewinds=1"
    )


def line_by_hand(name: str, channels: int, rate_hz: int) -> str:
    """The command that makes the same output by hand."""
    return f"pactl load-module module-null-sink {module_arguments(name, channels, rate_hz)}"


def own_mark() -> str:
    """This process, so that no later one of the same number is taken for it."""
    return f"{os.getpid()}:{_start_of(os.getpid())}"


def is_running(mark: str) -> bool:
    """True while the process of that mark runs."""
    pid, _, start = mark.partition(":")
    return _start_of(int(pid)) == start


def _start_of(pid: int) -> str:
    """When the process started, in ticks since the machine did; empty where there is none or it has ended."""
    try:
        fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    except OSError:
        return ""
    return "" if fields[0] == "Z" else fields[19]


def remove_left(server: PulseServer) -> None:
    """Removes what processes that have ended left on the server, and waits until the outputs are gone."""
    removed = set()
    for module in server.modules():
        mark = re.search(rf"{re.escape(MAKER)}=(\d+:\d+)", module.arguments)
        if mark and not is_running(mark[1]):
            server.unload_module(module.index)
            removed.update(re.findall(r"sink_name=(\S+)", module.arguments))
    end_s = time.monotonic() + _APPEAR_S
    # PipeWire lists an output for a moment after its module is unloaded.
    while any(sink.name in removed for sink in server.sinks()) and time.monotonic() < end_s:
        server.iterate()


class MadeOutput:
    """The modules of one output on the server."""

    def __init__(self, server: PulseServer, order: OutputOrder) -> None:
        """Raises SourceError where the name is in use, or the output to hear it on is not there."""
        remove_left(server)
        sinks = server.sinks()
        if any(sink.name == order.name for sink in sinks):
            raise SourceError(
                f"There is an output {order.name} already. Listen to it with --device {order.name}.monitor, "
                "or give another name."
            )
        self.heard_on = ""
        if order.hear_on is not None:
            self.heard_on = _output_to_hear_on(sinks, order.hear_on, server.about()[1]).name
        self._server = server
        self._modules: list[int] = []
        try:
            self._make(order)
        except SourceError:
            self.remove()
            raise

    def remove(self) -> None:
        for module in reversed(self._modules):
            self._server.unload_module(module)

    def _make(self, order: OutputOrder) -> None:
        mark = own_mark()
        self._load(
            "module-null-sink",
            f"{module_arguments(order.name, order.channels, order.rate_hz)} "
            f"sink_properties='device.description={order.name} {MAKER}={mark}'",
        )
        _settle(self._server, order.name)
        if self.heard_on:
            self._load(
                "module-loopback",
                f"source={order.name}.monitor sink={self.heard_on} latency_msec={_HEAR_LATENCY_MS} "
                f"source_dont_move=true sink_input_properties='{MAKER}={mark}'",
            )

    def _load(self, module: str, arguments: str) -> None:
        self._modules.append(self._server.load_module(module, arguments))


def _output_to_hear_on(sinks: Sequence[PulseDevice], wanted: str, in_use: str) -> PulseDevice:
    key = wanted.casefold()
    found = [sink for sink in sinks if key in f"{sink.name} {sink.description}".casefold()]
    found = [sink for sink in found if key == sink.name.casefold()] or found
    if not wanted:
        found = [sink for sink in sinks if sink.name == in_use]
    if len(found) == 1:
        return found[0]
    there_are = ", ".join(f"{sink.name} ({sink.description})" for sink in sinks) or "none"
    wrong = f"{wanted!r} names no single output" if wanted else "No output is in use"
    raise SourceError(f"{wrong} to hear it on. Give --hear one of: {there_are}.")


def _settle(server: PulseServer, name: str) -> None:
    """Waits until the output and its monitor are there, and stay at 0 dB."""
    end_s = time.monotonic() + _APPEAR_S
    right = 0
    while right < _RIGHT_LOOKS:
        sink = next((one for one in server.sinks() if one.name == name), None)
        source = next((one for one in server.sources() if one.name == f"{name}.monitor"), None)
        if time.monotonic() > end_s:
            what = "its volume does not stay at 0 dB" if sink and source else "it does not appear"
            raise SourceError(f"The sound server made the output {name}, and {what}.")
        if sink and source:
            is_right = all(one.volume_db == 0.0 and not one.is_muted for one in (sink, source))
            right = right + 1 if is_right else 0
            if not is_right:
                server.set_to_0_db(sink, source)
        server.iterate()


def keep(order: OutputOrder, say: Callable[..., None], is_over: threading.Event) -> None:
    """Makes the output, and again whenever the server has come back; removes it when all is over.

    Raises SourceError where it cannot be made at first.
    """
    was_made = False
    while not is_over.is_set():
        try:
            with connected() as server:
                made = MadeOutput(server, order)
                if not was_made:
                    say(made=order.name, heard_on=made.heard_on)
                was_made = True
                while server.is_connected and not is_over.is_set():
                    server.iterate()
                if is_over.is_set():
                    made.remove()
        except (ConnectionError, SourceError) as error:
            if not was_made:
                raise
            sys.stderr.write(f"the output is to be made again: {error}\n")
        is_over.wait(_RETRY_S)


def main() -> None:
    """The process: never leaves the regular way, for a hung library would hold it for ever."""
    stdout = portaudio.take_stdout()
    is_over = threading.Event()

    def say(**fields: object) -> None:
        print(json.dumps(fields), file=stdout, flush=True)

    def end_with_parent() -> None:
        sys.stdin.buffer.read()
        is_over.set()
        time.sleep(_REMOVE_S)  # a hung server keeps its output; the next run removes it
        os._exit(1)

    threading.Thread(target=end_with_parent, daemon=True).start()
    try:
        keep(OutputOrder(**json.loads(sys.argv[1])), say, is_over)
    except SourceError as error:
        say(error=str(error))
    except ConnectionError as error:
        say(
            error=f"No PulseAudio or PipeWire server answers ({error}), so no output can be made. Start it; "
            "PipeWire needs the package pipewire-pulse. JACK needs no output: give --device CLIENT."
        )
    except Exception as error:
        say(error=f"The output cannot be made ({error!r}).")
    finally:
        os._exit(0)


if __name__ == "__main__":
    main()
