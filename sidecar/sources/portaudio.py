"""PortAudio, as the child processes see it: loading it and naming what it lists.

Never imported by the measuring process: the library freezes its list of devices when it starts, can
hang for ever, and can abort the process it lives in. ``python -m sidecar.sources.portaudio`` prints
the inputs as one line of JSON.
"""

from __future__ import annotations

import json
import os
import sys
from types import ModuleType
from typing import Any, TextIO

from sidecar.errors import SourceError

_INSTALL = {
    "linux": "apt install libportaudio2 (Debian, Ubuntu), dnf install portaudio (Fedora) "
    "or pacman -S portaudio (Arch)",
    "darwin": "brew install portaudio",
    "win32": "pip install --force-reinstall sounddevice (it brings the library along)",
}


def load() -> ModuleType:
    """The module sounddevice; raises SourceError with the line that installs what is missing."""
    try:
        import sounddevice
    except ImportError as error:
        raise SourceError(
            f"The Python package sounddevice is missing ({error}). Install it: pip install sounddevice"
        ) from error
    except OSError as error:
        install = _INSTALL.get(sys.platform, _INSTALL["linux"])
        raise SourceError(
            f"The audio library PortAudio cannot be loaded ({error}). Install it: {install}"
        ) from error
    return sounddevice  # type: ignore[no-any-return]


def inputs(sounddevice: ModuleType) -> dict[int, dict[str, Any]]:
    """All devices that have inputs, in PortAudio's order, by their index in this process."""
    names = [api["name"] for api in sounddevice.query_hostapis()]
    return {
        index: {
            "name": device["name"],
            "host_api": names[device["hostapi"]],
            "input_channels": device["max_input_channels"],
            "default_rate_hz": round(device["default_samplerate"]),
        }
        for index, device in enumerate(sounddevice.query_devices())
        if device["max_input_channels"] > 0
    }


def take_stdout() -> TextIO:
    """Standard output for this process's own lines alone; what C libraries print goes to the log."""
    own = os.fdopen(os.dup(1), "w", buffering=1, encoding="ascii")
    os.dup2(2, 1)
    return own


def main() -> None:
    """Prints ``{"inputs": […], "faults": […]}`` and leaves without waiting for the library."""
    stdout = take_stdout()
    try:
        answer: dict[str, list[Any]] = {"inputs": [*inputs(load()).values()], "faults": []}
    except SourceError as error:
        answer = {"inputs": [], "faults": [str(error)]}
    except Exception as error:
        answer = {
            "inputs": [],
            "faults": [f"The audio devices cannot be listed ({error}). See the log for details."],
        }
    print(json.dumps(answer), file=stdout, flush=True)
    os._exit(0)


if __name__ == "__main__":
    main()
