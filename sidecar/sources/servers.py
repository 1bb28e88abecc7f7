"""The inputs that the sound servers of this machine list: PulseAudio or PipeWire, and JACK.

``python -m sidecar.sources.servers`` prints one line of JSON, ``{"inputs": […], "faults": […]}``. Apart from
PortAudio, which may end the process that loads it.
"""

from __future__ import annotations

import json
import os
import threading
import time
from collections.abc import Callable
from dataclasses import asdict

from sidecar.errors import SourceError
from sidecar.sources import jack_client, portaudio, pulse
from sidecar.sources.inputs import DeviceInfo

ANSWER_LIMIT_S = 5.0
"""A server answers within milliseconds; one that takes this long hangs."""


class _Question(threading.Thread):
    """One sound server, asked in a thread that may hang."""

    def __init__(self, server: str, ask: Callable[[], list[DeviceInfo]]) -> None:
        super().__init__(daemon=True)
        self.server = server
        self.found: list[DeviceInfo] = []
        self.fault = ""
        self._ask = ask
        self.start()

    def run(self) -> None:
        try:
            self.found = self._ask()
        except ConnectionError:  # no such server runs
            return
        except SourceError as error:
            self.fault = str(error)
        except Exception as error:
            self.fault = f"The inputs of {self.server} cannot be listed ({error!r})."


def _of_pulse() -> list[DeviceInfo]:
    with pulse.connected() as server:
        return pulse.inputs(server)


def _of_jack() -> list[DeviceInfo]:
    with jack_client.connected() as server:
        return jack_client.clients(server)


def ask() -> tuple[list[DeviceInfo], list[str]]:
    """The inputs, and a sentence for each server that could not be asked."""
    questions = [_Question("PulseAudio or PipeWire", _of_pulse), _Question("JACK", _of_jack)]
    end_s = time.monotonic() + ANSWER_LIMIT_S
    for question in questions:
        question.join(max(0.0, end_s - time.monotonic()))
        if question.is_alive():
            late = f"did not list its inputs within {ANSWER_LIMIT_S:.0f} s"
            question.fault = f"{question.server} {late}. It hangs: restart it."
    found = [device for question in questions for device in question.found]
    return found, [question.fault for question in questions if question.fault]


def main() -> None:
    """Prints the answer and leaves without waiting for a library."""
    stdout = portaudio.take_stdout()
    found, faults = ask()
    answer = {"inputs": [asdict(device) for device in found], "faults": faults}
    print(json.dumps(answer), file=stdout, flush=True)
    os._exit(0)


if __name__ == "__main__":
    main()
