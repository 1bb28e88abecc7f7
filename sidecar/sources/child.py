"""Starting processes of our own, such as those that own an audio library, and ending them with this one."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
from collections.abc import Sequence
from typing import IO

from sidecar.errors import SourceError
from sidecar.settings.locations import log_folder

_LARGEST_LOG_BYTES = 2**20


def start_child(module: str, *arguments: str, descriptors: Sequence[int] = ()) -> subprocess.Popen[bytes]:
    """Runs a module of ours in a process of its own, standard input and output piped.

    It imports exactly what this process would (a wheel, a checkout), writes noise to the log instead
    of the screen, and does not get the terminal's Ctrl+C. Open files in *descriptors* are its as well, under
    the same numbers. Raises SourceError if it cannot start.
    """
    environment = {
        **os.environ,
        "PYTHONPATH": os.pathsep.join(sys.path),
        "JACK_NO_START_SERVER": "1",  # looking for inputs must not start a sound server
    }
    log = _open_log()
    try:
        return subprocess.Popen(
            [sys.executable, "-P", "-X", "faulthandler", "-m", module, *arguments],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=log,
            env=environment,
            pass_fds=tuple(descriptors),
            start_new_session=True,
            creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
        )
    except OSError as error:
        raise SourceError(
            f"The audio process cannot be started ({error}); it runs {sys.executable}. "
            "Close other programs if the machine is out of memory or processes."
        ) from error
    finally:
        if not isinstance(log, int):
            log.close()


def end_with_parent() -> None:
    """Ends this process, whatever it hangs in, as soon as its standard input ends: its parent has gone."""
    threading.Thread(target=_end_after_input, daemon=True).start()


def _end_after_input() -> None:
    sys.stdin.buffer.read()
    os._exit(0)


def _open_log() -> IO[bytes] | int:
    """The end of the audio log, started over when it has grown large; nowhere if it cannot be had."""
    try:
        path = log_folder() / "audio.log"
        path.parent.mkdir(parents=True, exist_ok=True)
        grown = path.exists() and path.stat().st_size > _LARGEST_LOG_BYTES
        return path.open("wb" if grown else "ab")
    except OSError:
        return subprocess.DEVNULL
