"""PulseAudio, and PipeWire through its PulseAudio interface, by way of libpulse.

Only in processes that own an audio library: each question waits for the server's answer, and a server that
hangs holds the process for ever. PortAudio cannot name a source of these servers, and what a client library
for Python reads of a source leaves out its rate.
"""

from __future__ import annotations

import ctypes
import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from ctypes import CFUNCTYPE, POINTER, c_char_p, c_int, c_size_t, c_uint8, c_uint32, c_uint64, c_void_p
from dataclasses import dataclass, replace
from typing import Any

from sidecar.errors import SourceError
from sidecar.sources.inputs import DeviceInfo, PlayerInfo

LIBRARY = "libpulse.so.0"
CLIENT_NAME = "loudness-sidecar"

_WAIT_US = 100_000
_FORMATS = (
    *("u8", "alaw", "ulaw", "s16le", "s16be", "float32le", "float32be", "s32le", "s32be"),
    *("s24le", "s24be", "s24-32le", "s24-32be"),
)
"""In the order of pa_sample_format_t, pulse/sample.h."""

FLOAT32LE = _FORMATS.index("float32le")

# Values of the public headers pulse/def.h and pulse/volume.h.
_NO_AUTOSPAWN = 0x0001
_READY, _FAILED = 4, 5
_RUNNING = 0
_VOLUME_NORM = 0x10000
_NONE = 0xFFFFFFFF


class SampleSpec(ctypes.Structure):
    _fields_ = (("format", c_int), ("rate", c_uint32), ("channels", c_uint8))


class ChannelMap(ctypes.Structure):
    _fields_ = (("channels", c_uint8), ("map", c_int * 32))


class BufferAttr(ctypes.Structure):
    _fields_ = tuple((name, c_uint32) for name in ("maxlength", "tlength", "prebuf", "minreq", "fragsize"))


class _Volume(ctypes.Structure):
    _fields_ = (("channels", c_uint8), ("values", c_uint32 * 32))


class _Info(ctypes.Structure):
    """The beginning of pa_sink_info and of pa_source_info, which is the same in both."""

    _fields_ = (
        ("name", c_char_p),
        ("index", c_uint32),
        ("description", c_char_p),
        ("sample_spec", SampleSpec),
        ("channel_map", ChannelMap),
        ("owner_module", c_uint32),
        ("volume", _Volume),
        ("mute", c_int),
        ("other_side", c_uint32),
        ("other_side_name", c_char_p),
    )


class _SinkInputInfo(ctypes.Structure):
    """The beginning of pa_sink_input_info."""

    _fields_ = (
        ("index", c_uint32),
        ("name", c_char_p),
        ("owner_module", c_uint32),
        ("client", c_uint32),
        ("sink", c_uint32),
        ("sample_spec", SampleSpec),
        ("channel_map", ChannelMap),
        ("volume", _Volume),
        ("buffer_us", c_uint64),
        ("sink_us", c_uint64),
        ("resample_method", c_char_p),
        ("driver", c_char_p),
        ("mute", c_int),
        ("properties", c_void_p),
    )


class _ModuleInfo(ctypes.Structure):
    """The beginning of pa_module_info."""

    _fields_ = (("index", c_uint32), ("name", c_char_p), ("argument", c_char_p))


class _ServerInfo(ctypes.Structure):
    _fields_ = (
        ("user_name", c_char_p),
        ("host_name", c_char_p),
        ("server_version", c_char_p),
        ("server_name", c_char_p),
        ("sample_spec", SampleSpec),
        ("default_sink_name", c_char_p),
        ("default_source_name", c_char_p),
    )


_InfoCallback = CFUNCTYPE(None, c_void_p, POINTER(_Info), c_int, c_void_p)
_SinkInputCallback = CFUNCTYPE(None, c_void_p, POINTER(_SinkInputInfo), c_int, c_void_p)
_ModuleCallback = CFUNCTYPE(None, c_void_p, POINTER(_ModuleInfo), c_int, c_void_p)
_ServerCallback = CFUNCTYPE(None, c_void_p, POINTER(_ServerInfo), c_void_p)
_IndexCallback = CFUNCTYPE(None, c_void_p, c_uint32, c_void_p)
_SuccessCallback = CFUNCTYPE(None, c_void_p, c_int, c_void_p)

_SIGNATURES: dict[str, tuple[Any, ...]] = {
    "pa_mainloop_new": (c_void_p,),
    "pa_mainloop_free": (None, c_void_p),
    "pa_mainloop_get_api": (c_void_p, c_void_p),
    "pa_mainloop_prepare": (c_int, c_void_p, c_int),
    "pa_mainloop_poll": (c_int, c_void_p),
    "pa_mainloop_dispatch": (c_int, c_void_p),
    "pa_context_new": (c_void_p, c_void_p, c_char_p),
    "pa_context_connect": (c_int, c_void_p, c_char_p, c_int, c_void_p),
    "pa_context_disconnect": (None, c_void_p),
    "pa_context_unref": (None, c_void_p),
    "pa_context_get_state": (c_int, c_void_p),
    "pa_context_errno": (c_int, c_void_p),
    "pa_context_get_server_info": (c_void_p, c_void_p, _ServerCallback, c_void_p),
    "pa_context_get_sink_info_list": (c_void_p, c_void_p, _InfoCallback, c_void_p),
    "pa_context_get_source_info_list": (c_void_p, c_void_p, _InfoCallback, c_void_p),
    "pa_context_get_sink_input_info_list": (c_void_p, c_void_p, _SinkInputCallback, c_void_p),
    "pa_context_get_module_info_list": (c_void_p, c_void_p, _ModuleCallback, c_void_p),
    "pa_context_load_module": (c_void_p, c_void_p, c_char_p, c_char_p, _IndexCallback, c_void_p),
    "pa_context_unload_module": (c_void_p, c_void_p, c_uint32, _SuccessCallback, c_void_p),
    **{
        f"pa_context_set_{side}_volume_by_index": (
            *(c_void_p, c_void_p, c_uint32, POINTER(_Volume), _SuccessCallback, c_void_p),
        )
        for side in ("sink", "source")
    },
    **{
        f"pa_context_set_{side}_mute_by_index": (
            *(c_void_p, c_void_p, c_uint32, c_int, _SuccessCallback, c_void_p),
        )
        for side in ("sink", "source")
    },
    "pa_operation_get_state": (c_int, c_void_p),
    "pa_operation_unref": (None, c_void_p),
    "pa_strerror": (c_char_p, c_int),
    "pa_proplist_gets": (c_char_p, c_void_p, c_char_p),
    "pa_channel_map_parse": (c_void_p, POINTER(ChannelMap), c_char_p),
    "pa_channel_position_to_string": (c_char_p, c_int),
    "pa_stream_new": (c_void_p, c_void_p, c_char_p, POINTER(SampleSpec), POINTER(ChannelMap)),
    "pa_stream_connect_record": (c_int, c_void_p, c_char_p, POINTER(BufferAttr), c_int),
    "pa_stream_get_state": (c_int, c_void_p),
    "pa_stream_get_device_name": (c_char_p, c_void_p),
    "pa_stream_peek": (c_int, c_void_p, POINTER(c_void_p), POINTER(c_size_t)),
    "pa_stream_drop": (c_int, c_void_p),
}


def load() -> ctypes.CDLL:
    """The library with its signatures; raises SourceError with the package that brings it."""
    try:
        library = ctypes.CDLL(LIBRARY)
    except OSError as error:
        raise SourceError(
            f"The sound server's library {LIBRARY} cannot be loaded ({error}). Install it: apt install "
            "libpulse0 (Debian, Ubuntu), dnf install pulseaudio-libs (Fedora) or pacman -S libpulse (Arch)"
        ) from error
    for name, (result, *arguments) in _SIGNATURES.items():
        function = getattr(library, name)
        function.restype, function.argtypes = result, arguments
    return library


@dataclass(frozen=True, slots=True)
class PulseDevice:
    """A sink or a source."""

    index: int
    name: str
    description: str
    rate_hz: int
    sample_format: str
    positions: tuple[str, ...]
    volume_db: float
    """Of the channel that is furthest from 0 dB."""
    is_muted: bool
    other_side: str
    """Of a sink its monitor, of a monitor its sink; empty otherwise."""
    module: int | None
    """The module that made it."""


@dataclass(frozen=True, slots=True)
class PulseModule:
    """A loaded module."""

    index: int
    arguments: str


class PulseServer:
    """A connection to the running server; :func:`connected` yields one."""

    def __init__(self) -> None:
        """Raises SourceError where the library is missing, ConnectionError where no server answers."""
        self.library = load()
        self._loop = self.library.pa_mainloop_new()
        self.context = self.library.pa_context_new(
            self.library.pa_mainloop_get_api(self._loop), CLIENT_NAME.encode()
        )
        if self.library.pa_context_connect(self.context, None, _NO_AUTOSPAWN, None) < 0:
            raise ConnectionError(self.reason())
        while not self.is_connected:
            if self.library.pa_context_get_state(self.context) >= _FAILED:
                raise ConnectionError(self.reason())
            self.iterate()

    @property
    def is_connected(self) -> bool:
        return int(self.library.pa_context_get_state(self.context)) == _READY

    def reason(self) -> str:
        """The server's last error, in its words."""
        return _text(self.library.pa_strerror(self.library.pa_context_errno(self.context)))

    def iterate(self) -> None:
        """Waits at most 0.1 s for the server, and handles what it sent."""
        library = self.library
        if (
            library.pa_mainloop_prepare(self._loop, _WAIT_US) < 0
            or library.pa_mainloop_poll(self._loop) < 0
            or library.pa_mainloop_dispatch(self._loop) < 0
        ):
            raise ConnectionError(self.reason())

    def about(self) -> tuple[str, str]:
        """The server's name, and its default sink."""
        answers: list[tuple[str, str]] = []

        def note(_context: int, info: Any, _data: object) -> None:
            if info:  # nothing where the server refuses
                answers.append((_text(info.contents.server_name), _text(info.contents.default_sink_name)))

        self._ask(self.library.pa_context_get_server_info, _ServerCallback(note))
        if not answers:
            raise ConnectionError(self.reason())
        return answers[0]

    def sinks(self) -> list[PulseDevice]:
        return self._listed(self.library.pa_context_get_sink_info_list)

    def sources(self) -> list[PulseDevice]:
        return self._listed(self.library.pa_context_get_source_info_list)

    def players(self) -> dict[int, list[PlayerInfo]]:
        """The streams that play, by the index of their sink."""
        found: dict[int, list[PlayerInfo]] = {}

        def note(_context: int, info: Any, end: int, _data: object) -> None:
            if not end:
                found.setdefault(info.contents.sink, []).append(self._player(info.contents))

        self._ask(self.library.pa_context_get_sink_input_info_list, _SinkInputCallback(note))
        return found

    def modules(self) -> list[PulseModule]:
        found: list[PulseModule] = []

        def note(_context: int, info: Any, end: int, _data: object) -> None:
            if not end:
                found.append(PulseModule(info.contents.index, _text(info.contents.argument)))

        self._ask(self.library.pa_context_get_module_info_list, _ModuleCallback(note))
        return found

    def load_module(self, name: str, arguments: str) -> int:
        """The index of the loaded module; raises SourceError where the server refuses."""
        indices: list[int] = []
        callback = _IndexCallback(lambda _context, index, _data: indices.append(index))
        self._ask(self.library.pa_context_load_module, name.encode(), arguments.encode(), callback)
        if indices[0] == _NONE:
            raise SourceError(f"The sound server does not load {name} {arguments} ({self.reason()}).")
        return indices[0]

    def set_to_0_db(self, sink: PulseDevice, source: PulseDevice) -> None:
        """Sets a sink and its monitor to 0 dB, not muted: session managers remember volumes by name."""
        library = self.library
        done = _SuccessCallback(lambda *_: None)
        for device, side in ((sink, "sink"), (source, "source")):
            volume = _Volume(len(device.positions), (c_uint32 * 32)(*([_VOLUME_NORM] * 32)))
            set_volume = getattr(library, f"pa_context_set_{side}_volume_by_index")
            set_mute = getattr(library, f"pa_context_set_{side}_mute_by_index")
            self._ask(set_volume, device.index, ctypes.byref(volume), done)
            self._ask(set_mute, device.index, 0, done)

    def unload_module(self, index: int) -> None:
        """Unloads it; harmless where it is gone."""
        self._ask(self.library.pa_context_unload_module, index, _SuccessCallback(lambda *_: None))

    def close(self) -> None:
        self.library.pa_context_disconnect(self.context)
        self.library.pa_context_unref(self.context)
        self.library.pa_mainloop_free(self._loop)

    def _ask(self, function: Callable[..., Any], *arguments: object) -> None:
        """Calls the function and waits for its callback, the last of *arguments*."""
        operation = function(self.context, *arguments, None)
        if not operation:
            raise ConnectionError(self.reason())
        while self.library.pa_operation_get_state(operation) == _RUNNING:
            self.iterate()
            if not self.is_connected:
                raise ConnectionError(self.reason())
        self.library.pa_operation_unref(operation)

    def _listed(self, function: Callable[..., Any]) -> list[PulseDevice]:
        found: list[PulseDevice] = []

        def note(_context: int, info: Any, end: int, _data: object) -> None:
            if not end:
                found.append(self._device(info.contents))

        self._ask(function, _InfoCallback(note))
        return found

    def _device(self, info: Any) -> PulseDevice:
        spec = info.sample_spec
        return PulseDevice(
            index=info.index,
            name=_text(info.name),
            description=_text(info.description),
            rate_hz=spec.rate,
            sample_format=_FORMATS[spec.format] if 0 <= spec.format < len(_FORMATS) else "unknown",
            positions=self._positions(info.channel_map),
            volume_db=_furthest_db(info.volume),
            is_muted=bool(info.mute),
            other_side=_text(info.other_side_name),
            module=None if info.owner_module == _NONE else info.owner_module,
        )

    def _player(self, info: Any) -> PlayerInfo:
        program = self.library.pa_proplist_gets(info.properties, b"application.name")
        return PlayerInfo(
            name=_text(program) or _text(info.name),
            rate_hz=info.sample_spec.rate,
            positions=self._positions(info.channel_map),
            volume_db=-math.inf if info.mute else _furthest_db(info.volume),
        )

    def _positions(self, channel_map: Any) -> tuple[str, ...]:
        named = self.library.pa_channel_position_to_string
        return tuple(_text(named(one)) for one in channel_map.map[: channel_map.channels])


def _text(given: bytes | None) -> str:
    return (given or b"").decode(errors="replace")


def _furthest_db(volume: Any) -> float:
    return max(map(_decibels, volume.values[: volume.channels]), key=abs, default=0.0)


def _decibels(volume: int) -> float:
    """The server's volumes are cubic: pulse/volume.h, pa_sw_volume_to_dB."""
    return round(60.0 * math.log10(volume / _VOLUME_NORM), 2) + 0.0 if volume else -math.inf


@contextmanager
def connected() -> Iterator[PulseServer]:
    """Yields a connection to the running server; starts none.

    Raises SourceError where the library is missing, ConnectionError where no server answers.
    """
    server = PulseServer()
    try:
        yield server
    finally:
        server.close()


def inputs(server: PulseServer) -> list[DeviceInfo]:
    """All sources, each with the output that it is the monitor of."""
    name, default_sink = server.about()
    host_api = "PipeWire" if "PipeWire" in name else "PulseAudio"
    sinks = {sink.name: sink for sink in server.sinks()}
    players = server.players()
    found = []
    for source in server.sources():
        sink = sinks.get(source.other_side)
        listed = _input(source, host_api, sink, default_sink)
        found.append(replace(listed, players=tuple(players.get(sink.index, ()))) if sink else listed)
    return found


def find_source(server: PulseServer, name: str) -> DeviceInfo:
    """The source of exactly that name; raises SourceError where it is not there."""
    for source in inputs(server):
        if source.name == name:
            return source
    raise SourceError(f"The source {name} is not there. Waiting for it; no other is taken.")


def _input(source: PulseDevice, host_api: str, sink: PulseDevice | None, default_sink: str) -> DeviceInfo:
    described = source.description
    sides = (source, sink) if sink else (source,)
    return DeviceInfo(
        source.name,
        host_api,
        len(source.positions),
        source.rate_hz,
        description=described,
        monitored=sink.name if sink else "",
        is_in_use=sink is not None and sink.name == default_sink,
        positions=source.positions,
        output_positions=sink.positions if sink else (),
        sample_format=sides[-1].sample_format,
        volume_db=max((side.volume_db for side in sides), key=abs),
        is_muted=any(side.is_muted for side in sides),
    )
