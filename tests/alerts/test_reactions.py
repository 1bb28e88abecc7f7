"""Programs run on alerts: real ones, really killed."""

from __future__ import annotations

import asyncio
import json
import logging
import shlex
import sys
import time
from pathlib import Path

import pytest

from sidecar.alerts import programs as reactions_module
from sidecar.alerts.programs import Reactions, reaction
from sidecar.errors import SettingsError
from sidecar.model.readings import ALERT_NAMES, SILENCE, Alert, Reading
from sidecar.model.snapshot import Snapshot
from sidecar.run.event_loop import EventLoop
from sidecar.settings.goals import load_goal

PATIENCE_S = 60.0
READING = Reading(momentary=SILENCE, short_term=-19.06, integrated=-21.25, max_true_peak=-3.0, seconds=61.5)


@pytest.fixture(autouse=True)
def patient_end(monkeypatch):
    """A busy machine takes its time to start a script: the end waits for it, unless a test is about that."""
    monkeypatch.setattr(reactions_module, "_END_S", PATIENCE_S)


@pytest.fixture
def engine():
    with EventLoop() as made:
        yield made


def program(folder: Path, text: str) -> str:
    """A command that runs this Python."""
    script = folder / f"program-{len(list(folder.iterdir()))}.py"
    script.write_text(text)
    return shlex.join([sys.executable, str(script)])


def noting(folder: Path, before: str = "") -> str:
    """A command that appends its alert and state to ``seen``."""
    return program(
        folder,
        f"import os, time, pathlib\n{before}\n"
        f"with open({str(folder / 'seen')!r}, 'a') as seen:\n"
        "    print(os.environ['SIDECAR_ALERT'], os.environ['SIDECAR_STATE'], file=seen)\n",
    )


def seen(folder: Path) -> list[str]:
    file = folder / "seen"
    return file.read_text().splitlines() if file.exists() else []


def wait_for(condition) -> None:
    end = time.monotonic() + PATIENCE_S
    while not condition():
        assert time.monotonic() < end, "it never came about"
        time.sleep(0.01)


def snapshot(**states) -> Snapshot:
    alerts = tuple(Alert(name, states.get(name, "off"), -19.06, -20.0) for name in ALERT_NAMES)
    return Snapshot("measuring", load_goal("r128"), READING, alerts=alerts)


def is_there(process: int) -> bool:
    """Whether it runs; one that was killed and not waited for does not."""
    try:
        return Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except FileNotFoundError:
        return False


def test_a_program_learns_all_about_the_alert(tmp_path, engine):
    """Name, state and figures come in the environment; silence is -120, as on the wire."""
    out = tmp_path / "told"
    command = program(
        tmp_path,
        "import json, os, pathlib\n"
        "told = {k: v for k, v in os.environ.items() if k.startswith('SIDECAR_')}\n"
        f"pathlib.Path({str(out)!r}).write_text(json.dumps(told))\n",
    )
    running = Reactions([reaction("hot", command)])
    engine.soon(running.offer, snapshot(hot="on"))
    engine.run(running.close())

    assert json.loads(out.read_text()) == {
        "SIDECAR_ALERT": "hot",
        "SIDECAR_STATE": "on",
        "SIDECAR_VALUE": "-19.06",
        "SIDECAR_LIMIT": "-20.00",
        "SIDECAR_GOAL": "r128",
        "SIDECAR_TARGET": "-23.00",
        "SIDECAR_MOMENTARY": "-120.00",
        "SIDECAR_SHORT_TERM": "-19.06",
        "SIDECAR_INTEGRATED": "-21.25",
        "SIDECAR_TRUE_PEAK": "-3.00",
        "SIDECAR_SECONDS": "61.50",
    }


def test_only_changes_to_the_state_asked_for_run_it(tmp_path, engine):
    """The bare name is for on; the same alert that stays on, and another alert, run nothing."""
    running = Reactions([reaction("ceiling", noting(tmp_path)), reaction("over:off", noting(tmp_path))])
    for states in ({"over": "on"}, {"ceiling": "on", "over": "on"}, {"ceiling": "on", "over": "on"}):
        engine.soon(running.offer, snapshot(**states))
    wait_for(lambda: seen(tmp_path) == ["ceiling on"])
    engine.soon(running.offer, snapshot(ceiling="latched"))
    engine.run(running.close())

    assert seen(tmp_path) == ["ceiling on", "over off"]


def test_any_change_runs_it(tmp_path, engine):
    """on, latched and off, each with its name."""
    running = Reactions([reaction("ceiling:any", noting(tmp_path))])
    for count, state in enumerate(("on", "latched", "off"), start=1):
        engine.soon(running.offer, snapshot(ceiling=state))
        wait_for(lambda count=count: len(seen(tmp_path)) == count)
    engine.run(running.close())

    assert seen(tmp_path) == ["ceiling on", "ceiling latched", "ceiling off"]


def waiting_for(leave: Path) -> str:
    return f"while not pathlib.Path({str(leave)!r}).exists(): time.sleep(0.01)"


def test_a_slow_script_holds_up_no_other_one_and_loses_nothing_of_its_first_turn(tmp_path, engine):
    """on, latched and off within moments, while the script of another alert runs and runs."""
    leave = tmp_path / "leave"
    scripts = [("over", noting(tmp_path, waiting_for(leave)))]
    scripts += [(f"ceiling:{state}", noting(tmp_path)) for state in ("on", "latched", "off")]
    running = Reactions([reaction(*script) for script in scripts])
    engine.soon(running.offer, snapshot(over="on", ceiling="on"))
    wait_for(lambda: seen(tmp_path) == ["ceiling on"])
    for state in ("latched", "off"):
        engine.soon(running.offer, snapshot(over="on", ceiling=state))
        wait_for(lambda state=state: seen(tmp_path)[-1] == f"ceiling {state}")
    before = seen(tmp_path)
    leave.touch()
    engine.run(running.close())

    assert before == ["ceiling on", "ceiling latched", "ceiling off"]
    assert seen(tmp_path) == [*before, "over on"]


def test_changes_in_one_moment_start_the_script_of_each(tmp_path, engine):
    """Each --on has a queue of its own, so the second change does not replace the first."""
    running = Reactions([reaction(f"ceiling:{state}", noting(tmp_path)) for state in ("on", "latched")])
    engine.soon(running.offer, snapshot(ceiling="on"))
    engine.soon(running.offer, snapshot(ceiling="latched"))
    engine.run(running.close())

    assert sorted(seen(tmp_path)) == ["ceiling latched", "ceiling on"]


def test_a_script_runs_once_at_a_time_and_the_newest_state_wins(tmp_path, engine):
    """While it runs its alert goes to and fro a hundred times: one more run comes of it."""
    leave = tmp_path / "leave"
    running = Reactions([reaction("hot:any", noting(tmp_path, waiting_for(leave)))])
    engine.soon(running.offer, snapshot(hot="on"))
    for _ in range(100):
        engine.soon(running.offer, snapshot())
        engine.soon(running.offer, snapshot(hot="on"))
    before = seen(tmp_path)
    leave.touch()
    engine.run(running.close())

    assert before == []
    assert seen(tmp_path) == ["hot on", "hot on"]


def test_a_state_that_is_over_is_not_reacted_to_any_more(tmp_path, engine):
    """What waited for on does not come when the alert is off again: it would leave a light wrong."""
    leave = tmp_path / "leave"
    running = Reactions([reaction("hot", noting(tmp_path, waiting_for(leave)))])
    for states in ({"hot": "on"}, {}, {"hot": "on"}, {}):
        engine.soon(running.offer, snapshot(**states))
    leave.touch()
    engine.run(running.close())

    assert seen(tmp_path) == ["hot on"]


def test_the_first_of_a_script_s_failures_in_a_row_is_reported(tmp_path, engine):
    faults = []
    ok = tmp_path / "ok"
    command = program(
        tmp_path, f"import pathlib, sys; sys.exit(0 if pathlib.Path({str(ok)!r}).exists() else 7)"
    )
    running = Reactions([reaction("hot:any", command)], faults.append)

    def change(states):
        engine.soon(running.offer, snapshot(**states))
        engine.run(settled(running))

    for states in ({"hot": "on"}, {}):
        change(states)
    reported_once = list(faults)
    ok.touch()
    change({"hot": "on"})
    ok.unlink()
    change({})
    engine.run(running.close())

    assert len(reported_once) == 1
    assert reported_once[0].startswith("The script for hot failed with exit code 7: ")
    assert faults == reported_once * 2


async def settled(running: Reactions) -> None:
    """Returns once no program runs."""
    await asyncio.gather(*(queue._work for queue in running._queues if queue._work))


@pytest.mark.parametrize(
    ("text", "limit_s", "fault"),
    [
        ("import os, signal; os.kill(os.getpid(), signal.SIGTERM)", 60.0, "was killed by signal 15"),
        ("import time; time.sleep(600)", 0.5, "ran longer than 0.5 s and was stopped"),
    ],
)
def test_a_script_that_is_ended_is_reported_with_the_cause(tmp_path, engine, text, limit_s, fault):
    faults = []
    running = Reactions([reaction("over", program(tmp_path, text))], faults.append, limit_s=limit_s)
    engine.soon(running.offer, snapshot(over="on"))
    wait_for(lambda: faults)
    engine.run(running.close())

    [sentence] = faults
    assert sentence.startswith(f"The script for over {fault}: {sys.executable}"[:60])


@pytest.mark.slow
def test_a_program_that_hangs_is_killed_with_what_it_started(tmp_path, engine, caplog):
    """After its limit it is gone, its child too."""
    family = tmp_path / "family"
    command = program(
        tmp_path,
        "import os, pathlib, subprocess, sys, time\n"
        "child = subprocess.Popen([sys.executable, '-c', 'import time; time.sleep(600)'])\n"
        f"pathlib.Path({str(family)!r}).write_text(f'{{os.getpid()}} {{child.pid}}')\n"
        "time.sleep(600)\n",
    )
    running = Reactions([reaction("over", command)], limit_s=2.0)
    with caplog.at_level(logging.INFO):
        engine.soon(running.offer, snapshot(over="on"))
        engine.run(running.close())

    parent, child = map(int, family.read_text().split())
    assert [is_there(parent), is_there(child)] == [False, False]
    assert "for over on: ran longer than 2 s and was stopped." in caplog.text


def test_closing_does_not_wait_for_a_program_that_hangs(tmp_path, engine, monkeypatch):
    """It is killed, and reported."""
    monkeypatch.setattr(reactions_module, "_END_S", 0.1)
    me = tmp_path / "me"
    command = program(
        tmp_path,
        "import os, pathlib, time\n"
        f"pathlib.Path({str(me)!r}).write_text(str(os.getpid()))\n"
        "time.sleep(600)\n",
    )
    faults = []
    running = Reactions([reaction("over", command)], faults.append)
    engine.soon(running.offer, snapshot(over="on"))
    wait_for(lambda: me.exists() and me.read_text())
    engine.run(running.close())

    assert not is_there(int(me.read_text()))
    assert faults[0].startswith("The script for over ended with the run: ")


def test_what_a_program_says_goes_to_the_log_and_not_all_of_it(tmp_path, engine, caplog):
    """Both outputs, the beginning of a flood, and a code that is not 0 as a warning."""
    command = program(
        tmp_path,
        "import sys\n"
        "print('lamp not found', file=sys.stderr, flush=True)\n"
        "print('x' * 1_000_000)\n"
        "sys.exit(4)\n",
    )
    running = Reactions([reaction("over", command)])
    with caplog.at_level(logging.INFO):
        engine.soon(running.offer, snapshot(over="on"))
        engine.run(running.close())
    [record] = [each for each in caplog.records if each.name == "sidecar.alerts.programs"]

    assert record.levelno == logging.WARNING
    assert "for over on: ended with 4. lamp not found" in record.getMessage()
    assert len(record.getMessage()) < 2200


def test_a_program_that_has_gone_since_the_start_does_no_harm(tmp_path, engine, caplog):
    """It was there when it was checked; the log says that it could not be run, and the next one is."""
    script = tmp_path / "gone"
    script.write_text("#!/bin/sh\n")
    script.chmod(0o755)
    running = Reactions([reaction("over", str(script)), reaction("over", noting(tmp_path))])
    script.unlink()
    engine.soon(running.offer, snapshot(over="on"))
    engine.run(running.close())

    assert f"{script} could not be run" in caplog.text
    assert seen(tmp_path) == ["over on"]


def test_words_are_split_and_no_shell_looks_at_them(tmp_path, engine):
    """Quotes hold words together; what a shell would run or fill in stays as it is."""
    out = tmp_path / "words"
    print_words = program(
        tmp_path, f"import sys, pathlib\npathlib.Path({str(out)!r}).write_text(repr(sys.argv[1:]))"
    )
    running = Reactions([reaction("over", f"{print_words} 'too loud' $HOME ; `id` *")])
    engine.soon(running.offer, snapshot(over="on"))
    engine.run(running.close())

    assert repr(["too loud", "$HOME", ";", "`id`", "*"]) == out.read_text()


def test_no_program_sees_the_terminal(tmp_path, engine):
    """Its input is empty, and it is in a group of its own, so Ctrl-C is for the sidecar alone."""
    out = tmp_path / "out"
    command = program(
        tmp_path,
        "import os, pathlib, sys\n"
        f"pathlib.Path({str(out)!r}).write_text(f'{{sys.stdin.read()!r}} {{os.getpgrp() == os.getpid()}}')\n",
    )
    running = Reactions([reaction("over", command)])
    engine.soon(running.offer, snapshot(over="on"))
    engine.run(running.close())

    assert out.read_text() == "'' True"


@pytest.mark.parametrize(
    ("event", "command", "reason"),
    [
        ("ovr", "true", "--on: there is no alert 'ovr'. Did you mean over? There are: ceiling, over, hot,"),
        ("", "true", "--on: there is no alert ''. There are:"),
        (
            "over:gone",
            "true",
            "--on over:gone: an alert changes to on, latched or off, or any, not to 'gone'.",
        ),
        ("over", "", "--on: the command is empty."),
        ("over", "say 'too loud", "cannot be read (No closing quotation)"),
        ("over", "no-such-program-at-all now", "the program 'no-such-program-at-all' is not found"),
        ("over", "/etc/passwd", "the program '/etc/passwd' is not found or may not be run"),
    ],
)
def test_what_can_never_run_is_refused_at_the_start(event, command, reason):
    """The sentence says what is wrong and what to do; it comes before the programme is too loud."""
    with pytest.raises(SettingsError) as refused:
        reaction(event, command)

    assert reason in str(refused.value)
