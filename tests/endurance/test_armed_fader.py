"""Attacks on an armed fader: whole runs, real sockets, and a workstation that is not what it should be.

Each one once raised a fader by more than its ramp allows, or where nothing may rise. What the run says of
itself counts for nothing here: only what arrives at the workstation.
"""

import contextlib
import re
import socket
import subprocess
import sys
import threading
import time

import numpy as np
import pytest
import soundfile
from live_run import LiveRun
from pythonosc.osc_packet import OscPacket
from simulated_workstation import Workstation, packet

from sidecar.settings.locations import shipped_configs

pytestmark = pytest.mark.slow

RATE_HZ = 48_000
LIMIT_S = 60.0
LEAP_DB = 0.31
"""The ramp's longest step, and what rounding to 32 bits adds: a single datagram never raises more."""


class Run:
    """A run on a file, the port where it receives commands, and what it sends of its fader."""

    def __init__(self, file, workstation, *more, surface="decibels"):
        self._listener = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._listener.bind(("127.0.0.1", 0))
        self._listener.settimeout(LIMIT_S)
        self._sender = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.values = {}
        self._run = LiveRun(
            *("live", "--file", str(file), "--no-record", *more),
            *("--surface", str(surface), "--surface-at", f"127.0.0.1:{workstation.port}"),
            *("--osc", f"127.0.0.1:{self._listener.getsockname()[1]}"),
        )
        self._is_over = threading.Event()

    def __enter__(self):
        datagram, self.address = self._listener.recvfrom(65_535)
        self._note(datagram)
        self._thread = threading.Thread(target=self._listen, daemon=True)
        self._thread.start()
        self.wait_for(lambda: self.values.get("/sidecar/seconds", [0.0])[0] > 1.0)
        return self

    def __exit__(self, *error):
        self._is_over.set()
        self._run.__exit__(*error)
        self._thread.join()
        self._listener.close()
        self._sender.close()

    def send(self, address, *values):
        self._sender.sendto(packet(address, *values), self.address)

    @property
    def seconds(self):
        return self.values["/sidecar/seconds"][0]

    @property
    def is_armed(self):
        return self.values.get("/sidecar/auto/armed") == [1]

    @property
    def notice(self):
        return self.values.get("/sidecar/auto/notice", [""])[0]

    def arm(self, touch=lambda: None):
        """Asks until it is armed; touch: makes the workstation report, where it does not repeat itself."""
        end_s = time.monotonic() + LIMIT_S
        while not self.is_armed:
            assert time.monotonic() < end_s, f"it was never armed: {self.notice}"
            self.send("/sidecar/arm")
            settle(0.2)
            touch()
            settle(2.0)

    def raise_to(self, workstation, level_db, rest_s=0.0):
        """Asks until the fader has risen there: a busy machine may answer too late, which disarms."""
        while workstation.fader_db < level_db - 0.1:
            self.arm()
            settle(rest_s)
            self.send("/sidecar/nudge", level_db - workstation.fader_db)
            self.wait_for(lambda: workstation.fader_db > level_db - 0.1 or not self.is_armed)

    def wait_for(self, enough):
        end_s = time.monotonic() + LIMIT_S
        while not enough():
            assert time.monotonic() < end_s, f"it never was so: {self.notice}"
            time.sleep(0.01)

    def _listen(self):
        self._listener.settimeout(0.1)
        while not self._is_over.is_set():
            with contextlib.suppress(TimeoutError):
                self._note(self._listener.recv(65_535))

    def _note(self, datagram):
        for timed in OscPacket(datagram).messages:
            self.values[timed.message.address] = timed.message.params


def noise(path, *parts):
    """A file of noise, the same second again and again: (seconds, level in dBFS) after (seconds, level)."""
    second = np.random.default_rng(3).uniform(-1.0, 1.0, (RATE_HZ, 2)).astype(np.float32)
    with soundfile.SoundFile(path, "w", RATE_HZ, 2, "FLOAT") as file:
        for seconds, level_db in parts:
            for _ in range(seconds):
                file.write(second * np.float32(10.0 ** (level_db / 20.0)))
    return path


@pytest.fixture(scope="module")
def quiet(tmp_path_factory):
    return noise(tmp_path_factory.mktemp("noise") / "quiet.wav", (120, -40.0))


def rises(workstation):
    return [arrival.rise_db for arrival in workstation.arrivals]


def highest_rise(workstation, seconds=1.0):
    """Most that the fader rose within that time by what it was sent, dB."""
    worst_db = 0.0
    for first, arrival in enumerate(workstation.arrivals):
        for later in workstation.arrivals[first:]:
            if later.at_s - arrival.at_s > seconds:
                break
            worst_db = max(worst_db, later.after_db - arrival.before_db)
    return worst_db


def settle(seconds=1.5):
    """Long enough for anything that is to leave to have left: positions leave 20 times a second."""
    time.sleep(seconds)


@pytest.mark.parametrize("address", ["/sidecar/fader", "/master/level"])
def test_nobody_else_can_say_where_the_workstation_s_fader_stands(quiet, address):
    """The workstation never speaks. A script says that its fader, which is at -60 dB, is at 0 dB."""
    with Workstation(-60.0, repeat_s=None) as workstation, Run(quiet, workstation) as run:
        for _ in range(10):
            run.send(address, 0.0)
            run.send("/sidecar/arm")
            run.send(address, 0.0)
            run.send("/sidecar/nudge", 0.25)
            time.sleep(0.1)
        settle()

    assert workstation.arrivals == []


@pytest.mark.parametrize("first", [(), ("/sidecar/arm", "/sidecar/disarm")])
def test_a_position_from_before_the_request_does_not_arm(quiet, first):
    """It said 0 dB, then its way back died and its fader was pulled down to -60 dB."""
    with Workstation(0.0) as workstation, Run(quiet, workstation) as run:
        workstation.report_to(run.address)
        run.wait_for(lambda: run.values.get("/sidecar/fader/now") == [0.0])
        settle(0.5)
        for command in first:
            run.send(command)
            settle(0.5)
        workstation.is_mute = True
        workstation.move_by_hand(-60.0)
        settle(0.5)
        run.send("/sidecar/arm")
        settle(0.3)
        run.send("/sidecar/nudge", 0.25)
        settle()

    assert workstation.arrivals == []


def test_disarming_and_arming_in_one_moment_does_not_leap_though_answers_are_late(quiet):
    """Down by 8 dB, and before the answer comes: disarm, arm, up."""
    with Workstation(0.0, late_s=0.8, repeat_s=None) as workstation, Run(quiet, workstation) as run:
        workstation.report_to(run.address)
        while workstation.fader_db > -7.0:  # a busy machine may lose audio on the way, which disarms
            run.arm(touch=lambda: workstation.move_by_hand(0.0))
            workstation.move_by_hand(0.0)
            settle(1.0)
            run.send("/sidecar/nudge", -8.0)
            run.wait_for(lambda: workstation.fader_db < -7.0 or not run.is_armed)
        for command in ("/sidecar/disarm", "/sidecar/arm"):
            run.send(command)
        for _ in range(20):
            run.send("/sidecar/nudge", 3.0)
            time.sleep(0.1)
        settle()

    assert min(arrival.after_db for arrival in workstation.arrivals) <= -7.0
    assert max(rises(workstation)) <= LEAP_DB


def test_a_rise_stops_short_of_an_answer_that_does_not_come(quiet):
    """In mid-rise the way back dies and a hand pulls the fader down: nothing lifts it far from there."""
    with Workstation(-20.0) as workstation, Run(quiet, workstation) as run:
        workstation.report_to(run.address)
        run.arm()
        run.send("/sidecar/nudge", 3.0)
        run.wait_for(lambda: workstation.fader_db > -19.5)
        workstation.is_mute = True
        mute_db = workstation.fader_db
        settle(3.0)

    assert workstation.fader_db <= mute_db + 0.5 + LEAP_DB
    assert not run.is_armed


@pytest.mark.parametrize(
    ("then_db", "reason"), [(-200.0, "silent"), (0.0, "ceiling"), (-6.0, "hot"), (np.nan, "silent")]
)
def test_a_rise_stops_where_nothing_may_rise(tmp_path, then_db, reason):
    """The nudge comes half a second before the programme falls silent, or passes the ceiling, or gets hot."""
    file = noise(tmp_path / "turns.wav", (6, -40.0), (20, then_db))
    with Workstation(-20.0) as workstation, Run(file, workstation) as run:
        workstation.report_to(run.address)
        run.arm()
        run.wait_for(lambda: run.seconds >= 5.5)
        run.send("/sidecar/nudge", 3.0)
        run.wait_for(lambda: run.seconds >= 6.1)
        reached_db = workstation.fader_db
        settle(3.0 if reason != "hot" else 0.0)
        if reason == "hot":  # short-term has to get there first
            run.wait_for(lambda: run.values["/sidecar/alert/hot"][0] == 1)
            reached_db = workstation.fader_db
        run.send("/sidecar/nudge", 3.0)
        settle(2.0)

    assert reached_db > -20.0
    assert workstation.fader_db <= reached_db + 0.35


def test_disarming_and_arming_again_and_again_gains_nothing(quiet):
    """Four times: armed, up by 3 dB, disarmed as soon as it is there."""
    with Workstation(-18.0) as workstation, Run(quiet, workstation) as run:
        workstation.report_to(run.address)
        for _ in range(4):
            run.arm()
            run.send("/sidecar/nudge", 3.0)
            settle(3.4)
            run.send("/sidecar/disarm")
            run.wait_for(lambda: not run.is_armed)

    assert -17.0 < workstation.fader_db <= -12.0 + 0.01
    assert highest_rise(workstation) <= 1.0 + LEAP_DB


def test_resetting_again_and_again_gains_nothing(quiet):
    with Workstation(-18.0) as workstation, Run(quiet, workstation) as run:
        workstation.report_to(run.address)
        run.arm()
        for _ in range(4):
            run.send("/sidecar/reset")
            for _ in range(2):
                run.send("/sidecar/nudge", 3.0)
                settle(1.7)
            run.send("/sidecar/disarm")
            run.wait_for(lambda: not run.is_armed)
            run.arm()

    assert -17.0 < workstation.fader_db <= -12.0 + 0.01


def test_a_programme_that_runs_as_fast_as_it_goes_reaches_no_fader(quiet):
    with Workstation(-20.0) as workstation:
        command = [sys.executable, "-m", "sidecar", "live", "--file", str(quiet), "--pace", "fast"]
        reach = ["--surface", "decibels", "--surface-at", f"127.0.0.1:{workstation.port}"]
        ended = subprocess.run(
            [*command, *reach, "--no-screen", "--no-record", "--osc-port", "0"],
            capture_output=True,
            text=True,
            check=False,
            timeout=LIMIT_S,
        )

    assert ended.returncode == 2
    assert "--pace fast and a workstation's fader exclude each other" in ended.stderr


@pytest.mark.parametrize("to", ["all", "mover"])
def test_two_runs_on_one_fader_let_go_of_it(quiet, to):
    """One is asked up, the other down, in the same moment, whichever of them the workstation answers."""
    with contextlib.ExitStack() as closing:
        workstation = closing.enter_context(Workstation(-10.0, repeat_s=None, to=to))
        runs = [closing.enter_context(Run(quiet, workstation)) for _ in range(2)]
        for run in runs:
            workstation.report_to(run.address)
        for _ in range(2):
            for run in runs:
                run.send("/sidecar/arm")
            settle(0.2)
            workstation.move_by_hand(-10.0)
            settle(1.0)
        for _ in range(3):
            for run, change_db in zip(runs, (2.0, -4.0), strict=True):
                run.send("/sidecar/nudge", change_db)
            settle(0.3)
        settle(1.0)

    assert max(rises(workstation), default=0.0) <= LEAP_DB


@contextlib.contextmanager
def flooded(run):
    """Commands from the same host all the while, ten times as many as it is allowed."""
    is_over = threading.Event()

    def flood():
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
            while not is_over.wait(0.01):
                for _ in range(50):
                    sender.sendto(packet("/sidecar/acknowledge"), run.address)

    thread = threading.Thread(target=flood)
    thread.start()
    try:
        yield
    finally:
        is_over.set()
        thread.join()


def test_a_disarm_gets_through_a_flood_of_commands(quiet):
    """One packet among thousands from the same host; afterwards nothing leaves any more."""
    with Workstation(-20.0) as workstation, Run(quiet, workstation) as run:
        workstation.report_to(run.address)
        run.arm()
        run.send("/sidecar/nudge", 3.0)
        run.wait_for(lambda: workstation.fader_db > -19.7)
        with flooded(run):
            settle(0.5)
            run.send("/sidecar/disarm")
            settle(0.3)
            arrived = len(workstation.arrivals)
            settle(2.5)

    assert len(workstation.arrivals) == arrived
    assert max(arrival.after_db for arrival in workstation.arrivals) < -17.5


def test_a_connection_that_armed_disarms_when_it_is_lost(quiet):
    """Over TCP: armed, sent up, and the cable pulled."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    with Workstation(-20.0) as workstation, Run(quiet, workstation, "--osc-tcp", str(port)) as run:
        workstation.report_to(run.address)
        with socket.create_connection(("127.0.0.1", port), LIMIT_S) as connection:
            for command in (packet("/sidecar/arm"),):
                connection.sendall(len(command).to_bytes(4, "big") + command)
            run.wait_for(lambda: run.is_armed)
            nudge = packet("/sidecar/nudge", 3.0)
            connection.sendall(len(nudge).to_bytes(4, "big") + nudge)
            run.wait_for(lambda: workstation.fader_db > -19.7)
        settle(0.2)
        arrived = len(workstation.arrivals)
        settle(2.0)

    assert len(workstation.arrivals) == arrived
    assert not run.is_armed


@pytest.fixture
def asking(tmp_path):
    """A surface file with the addresses that decibels.toml shows as comments."""
    shipped = (shipped_configs() / "surfaces" / "decibels.toml").read_text("utf-8")
    file = tmp_path / "asking.toml"
    file.write_text(re.sub(r"^# ((query|touch)_address = )", r"\1", shipped, flags=re.MULTILINE), "utf-8")
    return file


def test_a_workstation_that_is_silent_at_rest_is_asked_and_one_that_vanishes_is_given_up(quiet, asking):
    """Armed without a touch, moved after three seconds at rest; then no question is answered any more."""
    with Workstation(-20.0, repeat_s=None) as workstation, Run(quiet, workstation, surface=asking) as run:
        workstation.report_to(run.address)
        run.raise_to(workstation, -19.0, rest_s=3.0)
        run.arm()
        settle(2.0)
        workstation.is_mute = True
        run.wait_for(lambda: not run.is_armed)
        asked = workstation.queries
        settle(2.5)

    assert "no fader position for 5 s" in run.notice
    assert workstation.queries <= asked + 1


def test_a_touch_and_a_tenth_of_a_decibel_each_disarm(quiet, asking):
    with Workstation(-20.0) as workstation, Run(quiet, workstation, surface=asking) as run:
        workstation.report_to(run.address)
        run.raise_to(workstation, -19.5)
        run.arm()
        workstation.touch()
        run.wait_for(lambda: not run.is_armed)
        touched, arrived = run.notice, len(workstation.arrivals)
        settle(2.0)
        assert len(workstation.arrivals) <= arrived
        run.arm()
        workstation.move_by_hand(workstation.fader_db + 0.1)
        run.wait_for(lambda: not run.is_armed)

    assert touched == "Disarmed: the fader was touched."
    assert "the sidecar did not send it" in run.notice
