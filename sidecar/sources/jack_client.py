"""The clients of a JACK server as inputs, and the recording of one of them.

Only in processes that own an audio library: the server may hang or end the process. PortAudio connects a
client once and never again, under a name of its own; here the recording ends when the client leaves, so that
the capture is started anew until the client is back.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sidecar.errors import SourceError
from sidecar.sources.inputs import JACK, DeviceInfo
from sidecar.sources.ring import Ring

CLIENT_NAME = "loudness-sidecar"
TONE_CLIENT = "line-up-tone"
_SYSTEM = "system"  # the sound card's own client
_LOOK_S = 0.25


@contextmanager
def connected(name: str = CLIENT_NAME) -> Iterator[Any]:
    """Yields a client of the running server; starts none.

    Raises ConnectionError where no server answers or its library is missing.
    """
    try:
        import jack
    except OSError as error:  # without libjack there is no server either
        raise ConnectionError(str(error)) from error
    jack.set_error_function(lambda _message: None)
    jack.set_info_function(lambda _message: None)
    try:
        client = jack.Client(name, no_start_server=True)
    except jack.JackError as error:
        raise ConnectionError(str(error)) from error
    try:
        yield client
    finally:
        client.close()


def clients(server: Any) -> list[DeviceInfo]:
    """Every client with audio outputs; in use are those that play to the sound card, else the only one."""
    outputs = _outputs(server)
    playing: set[str] = set()
    for port in server.get_ports(is_audio=True, is_input=True, is_physical=True):
        playing.update(_client_of(source) for source in server.get_all_connections(port))
    programs = outputs.keys() - {_SYSTEM}
    in_use = playing & programs or (programs if len(programs) == 1 else set())
    return [
        DeviceInfo(
            name,
            JACK,
            len(ports),
            server.samplerate,
            description=", ".join(port.partition(":")[2] for port in ports),
            monitored="" if name == _SYSTEM else name,
            is_in_use=name in in_use,
            sample_format="float32le",
        )
        for name, ports in outputs.items()
    ]


def find_client(server: Any, name: str) -> DeviceInfo:
    """The client of exactly that name; raises SourceError where it is not there."""
    for client in clients(server):
        if client.name == name:
            return client
    raise SourceError(f"The JACK client {name} is not there. Waiting for it; no other is taken.")


def _outputs(server: Any) -> dict[str, list[str]]:
    """The audio outputs of each client but our own."""
    ports: dict[str, list[str]] = {}
    for port in server.get_ports(is_audio=True, is_output=True):
        if not port.name.startswith(CLIENT_NAME):
            ports.setdefault(_client_of(port), []).append(port.name)
    return ports


def _client_of(port: Any) -> str:
    return str(port.name.partition(":")[0])


class JackRecording:
    """Inputs of our own, connected one to one to the first outputs of another client, and to nothing else."""

    def __init__(self, server: Any, client: DeviceInfo, width: int, ring: Ring) -> None:
        self._server = server
        self._client = client.name
        self._ring = ring
        self._inputs = [server.inports.register(f"in_{number}") for number in range(1, width + 1)]
        self._pairs = list(zip(_outputs(server)[client.name], self._inputs, strict=False))
        self._frames = np.empty((server.blocksize, width), np.float32)
        self._is_connected = self._has_ended = False
        self._xruns = 0
        self._wake = threading.Event()
        self._tick = (0, 0, 0.0)
        server.set_process_callback(self._process)
        server.set_xrun_callback(self._count_xrun)
        server.set_shutdown_callback(self._end)

    def start(self) -> None:
        """Connects, then records. Raises SourceError where the client has gone meanwhile."""
        self._server.activate()
        self._connect()
        self._is_connected = True

    def ticks(self) -> Iterator[tuple[int, int, float]]:
        """Yields frames complete in the ring, interruptions by overload so far, and when.

        Raises SourceError when the client or the server has gone.
        """
        reported, looked_s = self._tick, time.monotonic()
        while True:
            self._wake.wait(_LOOK_S)
            self._wake.clear()
            if time.monotonic() - looked_s >= _LOOK_S:
                self._connect()
                looked_s = time.monotonic()
            if self._tick != reported:
                reported = self._tick
                yield reported

    def _connect(self) -> None:
        """Makes each connection that is missing and ends each that leads elsewhere."""
        import jack

        if self._has_ended:
            raise SourceError("The JACK server ended. Waiting for it.")
        try:
            for output, own in self._pairs:
                found = {port.name for port in self._server.get_all_connections(own)}
                if output not in found:
                    self._server.connect(output, own)
                for foreign in found - {output}:
                    self._server.disconnect(foreign, own)
        except jack.JackError as error:
            raise SourceError(
                f"The JACK client {self._client} has left. Waiting for it; no other is taken."
            ) from error

    def _process(self, count: int) -> None:
        """Called by JACK on its own thread: copies, counts, wakes the main thread, no more."""
        if not self._is_connected:
            return
        if count > len(self._frames):
            self._frames = np.empty((count, len(self._inputs)), np.float32)
        frames = self._frames[:count]
        for column, own in enumerate(self._inputs):
            frames[:, column] = own.get_array()
        self._ring.write(frames)
        self._tick = (self._ring.written, self._xruns, time.monotonic())
        self._wake.set()

    def _count_xrun(self, _delayed_us: float) -> None:
        if self._tick[0] > 0:
            self._xruns += 1

    def _end(self, *_: object) -> None:
        self._has_ended = True
        self._wake.set()


class ToneClient:
    """A client of our own that plays frames once."""

    def __init__(self, channels: int) -> None:
        """Raises SourceError where no server answers."""
        self._closing = ExitStack()
        try:
            self._server = self._closing.enter_context(connected(TONE_CLIENT))
        except ConnectionError as error:
            raise SourceError(f"The JACK server does not answer ({error}).") from error
        self._outputs = [self._server.outports.register(f"out_{n}") for n in range(1, channels + 1)]
        self._frames = np.empty((0, channels), np.float32)
        self._played = threading.Event()
        self._server.set_process_callback(self._process)
        self._server.activate()

    def connect_to(self, client: str) -> None:
        """Connects each output to an input of that client; raises SourceError where it has too few."""
        inputs = [
            port.name
            for port in self._server.get_ports(is_audio=True, is_input=True)
            if _client_of(port) == client
        ]
        if len(inputs) < len(self._outputs):
            raise SourceError(
                f"The JACK client {client} has {len(inputs)} inputs, and {len(self._outputs)} tones are to "
                "be played. Leave --device and --play-to out to test the way from JACK to the sidecar alone."
            )
        for output, taker in zip(self._outputs, inputs, strict=False):
            self._server.connect(output, taker)

    def play(self, frames: NDArray[np.float32]) -> None:
        """Returns when all was played."""
        self._frames = frames
        self._played.wait()

    def _process(self, count: int) -> None:
        now, self._frames = self._frames[:count], self._frames[count:]
        for column, output in enumerate(self._outputs):
            samples = output.get_array()
            samples[: len(now)] = now[:, column]
            samples[len(now) :] = 0.0
        if len(now) and not len(self._frames):
            self._played.set()
