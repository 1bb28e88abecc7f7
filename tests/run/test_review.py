"""Looking back on a pass that is over: from the record, and from a file."""

import time

import numpy as np
import pytest
import soundfile

import tui
from sidecar.cli import main
from sidecar.delivery.judge.verdict import judge
from sidecar.delivery.measure.whole_file import measure
from sidecar.errors import SettingsError
from sidecar.journal import reader
from sidecar.journal.writer import Journal
from sidecar.model.commands import Acknowledge, Arm, Follow, Mark, Nudge, Pause, Reset, SelectGoal, Start
from sidecar.model.units import loudness, mean_square
from sidecar.run.options import RunOptions
from sidecar.run.review import Review, integrated_history, past_of_file, past_of_record
from sidecar.run.session import Session
from sidecar.settings.goals import load_goal
from sidecar.sources.file import FileSource
from tui.drawing.panels.advice import advice

RATE_HZ = 48_000


def _obvious_integrated(energies):
    """BS.1770-5 Annex 1, equations 2 to 7, from all blocks anew."""
    blocks = np.array([energies[i : i + 4].mean() for i in range(len(energies) - 3)])
    blocks = blocks[blocks > mean_square(-70.0)]
    if not len(blocks):
        return -np.inf
    gate = max(blocks.mean() / 10.0, mean_square(-70.0))
    return loudness(blocks[blocks > gate].mean())


def _energies(seconds):
    rng = np.random.default_rng(7)
    return mean_square(-24.0) * 10.0 ** (rng.normal(0.0, 8.0, seconds * 10) / 10.0)


def test_integrated_runs_as_if_reckoned_anew_at_each_moment():
    """Each block of the first minute, each second behind it, and the very end."""
    energies = _energies(83)[:-4]
    history = integrated_history(energies)
    ends = [*range(1, 601, 37), *range(610, 826, 10), len(energies)]

    expected = [_obvious_integrated(energies[:end]) for end in ends]

    np.testing.assert_allclose(history[np.array(ends) - 1], expected, atol=1e-4)
    assert history[611] == history[618] == history[619]


def test_silence_and_nothing_at_all_have_no_integrated_loudness():
    """No block passes the gate, and that is no error."""
    assert not np.isfinite(integrated_history(np.zeros(20))).any()
    assert integrated_history(np.zeros(0)).size == 0


@pytest.fixture(scope="module")
def mix(tmp_path_factory):
    """Ninety seconds of noise, with half a second in it that is over every ceiling."""
    rng = np.random.default_rng(5)
    frames = 0.05 * rng.standard_normal((90 * RATE_HZ, 2))
    frames[30 * RATE_HZ : 60 * RATE_HZ] *= 3.0
    frames[40 * RATE_HZ : 40 * RATE_HZ + RATE_HZ // 2] = 0.99
    path = tmp_path_factory.mktemp("mix") / "mix.wav"
    soundfile.write(path, frames.clip(-1.0, 1.0), RATE_HZ, subtype="FLOAT")
    return path


@pytest.fixture(scope="module")
def of_file(mix):
    return past_of_file(measure(mix))


@pytest.mark.slow
def test_a_file_is_shown_with_the_move_that_lands_it(of_file):
    """The advised gain, applied to what was metered, lands where it is said to land."""
    snapshot = Review(of_file, load_goal("r128")).snapshot()
    move = snapshot.advice.from_top
    gain = 10.0 ** (move.gain_db / 10.0)

    assert snapshot.transport == "ended"
    assert snapshot.source == "mix.wav"
    assert move.gain_db < 0.0
    assert _obvious_integrated(of_file.energies * gain) == pytest.approx(move.landing, abs=0.01)
    assert snapshot.rides_reason


@pytest.mark.parametrize("goal", ["r128", "r128-s1", "aes-album", "premaster", "a85"])
def test_a_file_has_the_remedy_of_a_check_and_no_band(mix, of_file, goal):
    """On any goal: the same gain, the same sentences, and one place where it lands."""
    move = Review(of_file, load_goal(goal)).snapshot().advice.from_top
    verdict = judge(measure(mix), load_goal(goal))
    said = " ".join(finding.sentence for finding in verdict.findings if finding.kind == "remedy")

    assert move.gain_db == verdict.move_db
    assert move.reason == (said or f"It is inside {load_goal(goal).title} as it is.")
    assert move.landing_low == move.landing == move.landing_high
    assert move.landing == pytest.approx(of_file.reading.integrated + move.gain_db)


def test_the_screen_shows_no_band_of_a_file(of_file):
    shown = advice(Review(of_file, load_goal("r128")).snapshot(), relative=False)

    assert shown.landing == "lands at −23.0 LUFS"
    assert shown.likely == ""


def test_a_silent_file_has_no_move(tmp_path):
    soundfile.write(tmp_path / "silent.wav", np.zeros((RATE_HZ, 2)), RATE_HZ)
    silent = past_of_file(measure(tmp_path / "silent.wav"))
    move = Review(silent, load_goal("r128")).snapshot().advice.from_top

    assert move.is_quiet
    assert "above the gate" in move.reason


def test_the_history_of_a_file_ends_where_its_reading_ends(of_file):
    """One column each 100 ms, and the last integrated value is the file's."""
    history = of_file.history

    assert 900 == len(history.seconds) == len(history.short_term) == len(history.fader_db)
    assert float(history.integrated[-1]) == pytest.approx(of_file.reading.integrated, abs=0.01)


def test_peaks_over_the_ceiling_are_events_of_a_file(of_file):
    """At the moment where they begin, with the highest of them; another goal has its own."""
    review = Review(of_file, load_goal("r128"))
    (event,) = review.timeline().events

    highest = f"{of_file.reading.max_true_peak:.1f}".replace("-", "−")
    assert (event.kind, event.text) == ("alert", f"ceiling {highest} dBTP")
    assert 39.9 <= event.seconds <= 40.1


@pytest.mark.parametrize(
    "command", [Start(), Pause(), Reset(), Mark(), Follow(), Nudge(0.5), Arm(), Acknowledge()]
)
def test_what_would_change_the_pass_is_refused_with_a_sentence(of_file, command):
    """Nothing that is over is changed from here."""
    review = Review(of_file, load_goal("r128"))

    with pytest.raises(SettingsError, match=r"is over\. Only its goal"):
        review.send_command(command)


def _until(condition):
    for _ in range(500):
        if condition():
            return
        time.sleep(0.01)
    raise AssertionError("never came")


def test_another_goal_gives_another_move(of_file):
    """The same pass held against a louder goal is to be raised by the difference of the targets."""
    review = Review(of_file, load_goal("r128"))
    first = review.snapshot().advice.from_top.gain_db
    review.send_command(SelectGoal("a85"))
    _until(lambda: review.snapshot().goal.name == "a85")

    assert review.snapshot().advice.from_top.gain_db - first == pytest.approx(-1.0, abs=0.15)


def test_the_latest_of_two_goals_wins_in_whatever_order_they_are_reckoned(of_file, monkeypatch):
    """Two goals chosen in haste: the screen ends on the one that was chosen last."""
    review = Review(of_file, load_goal("r128"))
    waiting = []

    class Held:
        def __init__(self, *, target, args, **_):
            waiting.append((target, args))

        def start(self):
            pass

    monkeypatch.setattr("sidecar.run.review.threading.Thread", Held)
    for name in ("a85", "r128-s1"):
        review.send_command(SelectGoal(name))
    for target, args in reversed(waiting):
        target(*args)

    assert review.snapshot().goal.name == "r128-s1"


def test_a_goal_that_there_is_not_is_refused(of_file):
    """And the one in force stays."""
    review = Review(of_file, load_goal("r128"))

    with pytest.raises(SettingsError, match="no-such-goal"):
        review.send_command(SelectGoal("no-such-goal"))
    assert review.snapshot().goal.name == "r128"


@pytest.mark.slow
def test_a_pass_on_record_is_shown_as_its_run_ended(mix, tmp_path):
    """Reading, history, advice and rides are those that the run had when it was over."""
    journal = Journal.open(tmp_path / "passes.db")
    options = RunOptions(load_goal("r128"), fast=True, journal=journal)
    session = Session(FileSource(mix, pace="fast"), options)
    session.run()
    journal.close()
    review = Review(past_of_record(reader.latest(tmp_path / "passes.db")), load_goal("r128"))
    told, seen = session.snapshot(), review.snapshot()
    live, later = told.advice.from_top, seen.advice.from_top

    assert (later.gain_db, later.reason) == (live.gain_db, live.reason)
    assert later.landing == pytest.approx(live.landing, abs=1e-6)
    assert told.rides == seen.rides
    assert told.reading.integrated == pytest.approx(seen.reading.integrated, abs=0.01)
    assert told.duration_s == pytest.approx(seen.duration_s, abs=0.1)
    np.testing.assert_array_equal(session.timeline().integrated, review.timeline().integrated)
    assert [e.text for e in session.timeline().events] == [e.text for e in review.timeline().events]


@pytest.fixture
def opened(monkeypatch):
    """What the command would show, in place of a terminal."""
    shown = []

    def run(feed, **looks):
        shown.append((feed, looks))
        return False, looks["taste"]

    monkeypatch.setattr(tui, "need_terminal", lambda: None)
    monkeypatch.setattr(tui, "run", run)
    return shown


def test_the_command_opens_a_file_as_past(mix, opened):
    """Measured first; against R 128 unless another goal is named."""
    code = main(["review", str(mix), "--contrast", "high"])
    ((feed, looks),) = opened

    assert code == 0
    assert (feed.snapshot().source, feed.snapshot().goal.name) == ("mix.wav", "r128")
    assert not looks.pop("is_over")()
    assert looks.pop("most_hz") > 0
    assert looks.pop("taste").contrast == "high"
    assert looks == {"kind": "past"}


@pytest.mark.slow
def test_the_command_opens_the_last_pass_on_record_or_one_by_its_id(mix, opened):
    """With the goal that was in force in it."""
    arguments = ["--pace", "fast", "--no-screen", "--osc-port", "0", "--goal", "a85"]
    assert main(["live", "--file", str(mix), *arguments]) == 0
    assert main(["review"]) == 0
    id = reader.passes()[-1].id
    assert main(["review", str(id)]) == 0
    feeds = [feed.snapshot() for feed, _ in opened]

    assert [snapshot.source for snapshot in feeds] == [f"pass {id}, mix.wav"] * 2
    assert [snapshot.goal.name for snapshot in feeds] == ["a85"] * 2


@pytest.mark.parametrize("what", ["999999", "no-such-file.wav"])
def test_what_is_not_there_ends_with_a_sentence(what, opened, capsys):
    """Exit code 2 and no screen."""
    assert main(["review", what]) == 2
    assert what.split(".")[0] in capsys.readouterr().err
    assert opened == []
