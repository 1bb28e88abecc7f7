"""PulseAudio, PipeWire and JACK for tests, each in a runtime folder of its own and without a sound card."""

import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from contextlib import contextmanager
from pathlib import Path

_LIMIT_S = 20.0
_PLAYER = Path(__file__).with_name("jack_player.py")
_FOREIGN = ("PULSE_", "JACK_", "PIPEWIRE_", "ALSA_CONFIG_PATH", "DBUS_SESSION_BUS_ADDRESS", "DISPLAY")


class SoundServer:
    """Processes of one sound system, and the environment that leads to them."""

    def __init__(self, folder):
        self.folder = folder
        self.environment = {
            "XDG_RUNTIME_DIR": str(folder),
            "XDG_CONFIG_HOME": str(folder),
            "XDG_STATE_HOME": str(folder),
            "PULSE_RUNTIME_PATH": str(folder / "pulse"),
        }
        self._processes = []

    def inherited(self):
        """The environment of a process that is to find this server and no other."""
        return {
            **{name: value for name, value in os.environ.items() if not name.startswith(_FOREIGN)},
            **self.environment,
        }

    def start(self, *command):
        with (self.folder / f"{Path(command[0]).name}.log").open("ab") as log:
            process = subprocess.Popen(
                command,
                env=self.inherited(),
                cwd=self.folder,
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                start_new_session=True,
            )
        self._processes.append(process)
        return process

    def end(self):
        for process in reversed(self._processes):
            process.terminate()
            try:
                process.wait(10.0)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
        self._processes.clear()

    def run(self, *command):
        return subprocess.run(
            command, env=self.inherited(), check=True, capture_output=True, text=True, timeout=_LIMIT_S
        ).stdout

    def wait_for(self, *command):
        """Until the command works."""
        end_s = time.monotonic() + _LIMIT_S
        while subprocess.run(command, env=self.inherited(), capture_output=True, check=False).returncode:
            assert time.monotonic() < end_s, f"{command} does not work"
            time.sleep(0.05)


@contextmanager
def running(start):
    """A server in a folder of its own; *start* starts its processes."""
    folder = Path(tempfile.mkdtemp(prefix="ss-", dir="/tmp"))  # a socket's path has 107 bytes at most
    server = SoundServer(folder)
    try:
        start(server)
        yield server
    finally:
        server.end()
        shutil.rmtree(folder, ignore_errors=True)


def pulseaudio(server):
    server.start(
        *("pulseaudio", "-n", "--daemonize=no", "--use-pid-file=no", "--exit-idle-time=-1"),
        *("-L", "module-native-protocol-unix auth-anonymous=1", "-L", "module-rescue-streams"),
        *("-L", "module-null-sink sink_name=speakers"),
    )
    server.wait_for("pactl", "info")


def pipewire(server):
    bus = f"unix:path={server.folder / 'bus'}"
    server.start("dbus-daemon", "--session", f"--address={bus}", "--nofork", "--nopidfile")
    server.wait_for("test", "-S", str(server.folder / "bus"))
    server.environment["DBUS_SESSION_BUS_ADDRESS"] = bus  # the session manager ends without one
    server.start("pipewire")
    server.wait_for("test", "-S", str(server.folder / "pipewire-0"))
    server.start("wireplumber")
    server.start("pipewire-pulse")
    server.wait_for("pactl", "info")
    server.run("pactl", "load-module", "module-null-sink", "sink_name=speakers")


def jack(server):
    # JACK keeps eight names of servers on a machine, also of killed ones: names are used again.
    name = f"sidecar-test-{os.environ.get('PYTEST_XDIST_WORKER', 'alone')}"
    server.environment.update(JACK_DEFAULT_SERVER=name, JACK_NO_AUDIO_RESERVATION="1")
    server.start("jackd", "-r", "-n", name, "-d", "dummy", "-r", "48000", "-p", "1024")
    server.wait_for("jack_wait", "-c", "-s", name)


def jack_player(server, name, file, target="", *, before=()):
    """Starts a JACK client that plays the file over and over, perhaps into another client's inputs."""
    return server.start(*before, sys.executable, str(_PLAYER), name, str(file), target)


def kill(process):
    process.send_signal(signal.SIGKILL)
    process.wait()
