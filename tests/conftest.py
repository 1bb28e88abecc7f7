"""What tests of several rooms share."""

from __future__ import annotations

import os
import resource
import shlex
import shutil
import signal
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path

import pytest
from hypothesis import settings
from needs import need
from rich.console import Console

from sidecar.cli.terminal.first_run import compile_once
from sidecar.run.metering import Metering

settings.register_profile("steady", derandomize=True, deadline=None)
settings.load_profile("steady")  # the same examples each time: a red run has its cause in a change


def pytest_configure(config: pytest.Config) -> None:
    """Compiles the meter before workers begin: compiled by several processes side by side, kernels may differ
    in the last bit of a sum, and each would take the time."""
    if hasattr(config, "workerinput"):
        return
    compile_once(Console(stderr=True))
    Metering(48_000, 2, None)


@pytest.fixture(autouse=True)
def own_folders(monkeypatch: pytest.MonkeyPatch, tmp_path_factory: pytest.TempPathFactory) -> None:
    """What a run keeps or reads of the person's own stays in a folder of the test's own."""
    folder = tmp_path_factory.mktemp("own")
    for name in ("DATA", "CONFIG", "STATE", "CACHE"):
        monkeypatch.setenv(f"XDG_{name}_HOME", str(folder / name.lower()))


@contextmanager
def _files_end_at(size_bytes: int) -> Iterator[None]:
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size_bytes, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


@pytest.fixture
def files_end_at() -> Callable[[int], AbstractContextManager[None]]:
    """As on a disk that is full: while it lasts, what a file takes beyond so many bytes fails."""
    return _files_end_at


class Loopback:
    """A private sound server whose output can be recorded, sample for sample (see ``tests/loopback``)."""

    _SCRIPT = Path(__file__).with_name("loopback")

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def up(self, channels: int = 6, rate_hz: int = 48_000) -> None:
        """Starts the server; after a kill it comes back under the same addresses."""
        self._run("up", str(channels), str(rate_hz))

    def down(self) -> None:
        self._run("down")

    def environment(self) -> dict[str, str]:
        """What points a program's PortAudio at this server."""
        lines = self._run("env").splitlines()
        return dict(word.split("=", 1) for line in lines for word in shlex.split(line)[1:])

    def play(self, file: Path) -> subprocess.Popen[bytes]:
        """Starts to play a sound file; wait for the process to end."""
        return subprocess.Popen([self._SCRIPT, "play", file], env=self._own_environment())

    def signal(self, number: signal.Signals) -> None:
        """Sends a signal to the server."""
        os.kill(self.pid, number)

    @property
    def pid(self) -> int:
        """The server's process."""
        return int((self._folder / "pid").read_text())

    def _run(self, *words: str) -> str:
        done = subprocess.run(
            [self._SCRIPT, *words],
            env=self._own_environment(),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            text=True,
            timeout=240,  # the first run may install packages
            check=True,
        )
        return done.stdout

    def _own_environment(self) -> dict[str, str]:
        return {**os.environ, "LOOPBACK_DIR": str(self._folder)}


@pytest.fixture
def loopback(monkeypatch: pytest.MonkeyPatch) -> Iterator[Loopback]:
    """A running loopback of 6 channels at 48 kHz that this process and its children record from."""
    need("pulseaudio")
    folder = Path(tempfile.mkdtemp(prefix="lb-", dir="/tmp"))  # a socket's path has 107 bytes at most
    loopback = Loopback(folder / "server")
    try:
        loopback.up()
        for name, value in loopback.environment().items():
            monkeypatch.setenv(name, value)
        yield loopback
    finally:
        loopback.down()
        shutil.rmtree(folder)
