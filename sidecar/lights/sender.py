"""Sends the values of a run's lights to lamps over OSC."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from dataclasses import dataclass, replace

from sidecar.errors import SettingsError
from sidecar.lights import Light, LightMachine, conditions, load_light
from sidecar.lights.conditions import Condition
from sidecar.model.snapshot import Snapshot, Target
from sidecar.osc import codec
from sidecar.osc.sockets.destinations import Destination, resolve
from sidecar.osc.sockets.sender import Sender

TICK_S = 0.05
"""A pulse changes this late at most."""
STALE_S = 3.0
"""After so long without a snapshot the lamps show ``lost``."""
_SAFE_SENDINGS = 3
_LONGEST_CLOSE_S = 3.0

_NOTHING_KNOWN: frozenset[Condition] = frozenset({"waiting"})
_LOST: frozenset[Condition] = frozenset({"lost"})


@dataclass(frozen=True, slots=True)
class Lamp:
    """A light and the destination of its messages."""

    light: Light
    destination: Destination


def lamp_at(text: str) -> Lamp:
    """Returns the lamp of ``NAME=HOST:PORT``.

    Raises SettingsError when it has not that form or there is no such light, and NetworkError when the
    place cannot be read or found.
    """
    name, sign, place = text.rpartition("=")
    if not sign or not name:
        raise SettingsError(
            f"'{text}' is no light and its place: give NAME=HOST:PORT, for instance lamp=127.0.0.1:9000. "
            "The names are listed by: sidecar light-test"
        )
    return Lamp(load_light(name), replace(resolve(place), name=text))


class Lamps:
    """Sends each light's message when it changes and once a second. Used on the engine's loop only.

    Caution: flashing light can cause seizures; ``lights.machine`` limits all lamps together to 3 sendings in
    any second.
    """

    def __init__(self, lamps: Sequence[Lamp]) -> None:
        self._lamps = lamps
        self._machine = LightMachine([lamp.light for lamp in lamps])
        self._sender = Sender(lamp.destination for lamp in lamps)
        self._conditions = _NOTHING_KNOWN
        self._stale_from_s = float("inf")
        self._timer: asyncio.TimerHandle | None = None

    async def open(self) -> None:
        """Begins to send; does nothing without lamps."""
        if self._lamps:
            self._tick()

    def offer(self, snapshot: Snapshot) -> None:
        """Shows the conditions of the newest snapshot."""
        # Compiling may delay the first reading, and after the end no snapshot follows.
        is_quiet = snapshot.transport in {"preparing", "ended"}
        self.show_conditions(conditions(snapshot), float("inf") if is_quiet else STALE_S)

    def show_conditions(self, conditions: frozenset[Condition], patience_s: float = float("inf")) -> None:
        """Shows these conditions until others are given, or ``lost`` after *patience_s* seconds."""
        self._conditions = conditions
        self._stale_from_s = asyncio.get_running_loop().time() + patience_s
        if self._timer:
            self._send()

    async def close(self) -> None:
        """Sends the safe state, three times so that it arrives, and ends."""
        if not self._timer:
            self._sender.close()
            return
        self._timer.cancel()
        self._machine.switch_to_safe()
        sendings = 0
        for _ in range(round(_LONGEST_CLOSE_S / TICK_S)):
            sendings += self._send()
            if sendings == _SAFE_SENDINGS:
                break
            await asyncio.sleep(TICK_S)
        self._sender.close()

    def status(self) -> tuple[Target, ...]:
        """Returns counts of datagrams for each lamp; may be called from any thread."""
        return tuple(replace(lamp.destination.status, is_light=True) for lamp in self._lamps)

    def _tick(self) -> None:
        self._timer = asyncio.get_running_loop().call_later(TICK_S, self._tick)
        self._send()

    def _send(self) -> bool:
        now_s = asyncio.get_running_loop().time()
        values = self._machine.values_to_send(
            now_s, self._conditions if now_s < self._stale_from_s else _LOST
        )
        if values is None:
            return False
        for lamp, value in zip(self._lamps, values, strict=True):
            light = lamp.light
            message = codec.message(light.address, light.tags, [*light.before, *value])
            self._sender.send_datagram(message.dgram, lamp.destination)
        return True
