"""An armed fader that is let go: disarmed, reset, lost or touched, again and again, amid a flood."""

import contextlib
import re
import socket
import subprocess
import sys
import threading

import pytest
from armed_run import LEAP_DB, LIMIT_S, Run, highest_rise, noise, rises, settle
from simulated_workstation import Workstation, packet

from sidecar.settings.locations import shipped_configs

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def quiet(tmp_path_factory):
    return noise(tmp_path_factory.mktemp("noise") / "quiet.wav", (120, -40.0))


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
        settle(2.0)  # the hand that armed the fader may be on it so long
        workstation.move_by_hand(workstation.fader_db + 0.1)
        run.wait_for(lambda: not run.is_armed)

    assert touched == "Disarmed: the fader was touched."
    assert "the sidecar did not send it" in run.notice
