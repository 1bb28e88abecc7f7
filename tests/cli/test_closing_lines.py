"""What stays in the terminal when a run has ended."""

import json
from dataclasses import replace

import pytest
import scripted_feed as scenes

from sidecar.cli.run.closing import closing_lines, closing_object, parting_lines
from sidecar.cli.run.lines import JsonLines, PlainLines, SpokenLine


def test_four_lines_say_pass_figures_verdict_and_where_to_look_back():
    assert closing_lines(scenes.failed().shown, 12) == (
        "Pass 12: 5:00 of rehearsal, goal production",
        "Integrated −20.9 LUFS, range 6.2 LU, true peak −0.4 dBTP",
        "Fails: integrated −20.9: 1.9 LU over the limit −22.8 LUFS; true peak −0.4: 0.6 dB over the limit "
        "−1.0 dBTP. Next: down 2.1 dB.",
        "Look back: sidecar review 12 (all passes: sidecar passes)",
    )


def test_a_pass_inside_the_goal_says_how_near_the_nearest_limit_is():
    assert closing_lines(scenes.passed().shown, 3)[2] == (
        "Passes: integrated −22.9: 0.1 LU inside the limit −22.8 LUFS. Next: down 0.1 dB."
    )


def test_a_louder_next_pass_carries_its_caution():
    feed = scenes.passed()
    said = feed.shown.advice
    feed.change(advice=replace(said, from_top=replace(said.from_top, gain_db=1.4)))

    assert closing_lines(feed.shown, 3)[2].endswith("Next: up 1.4 dB (monitors down first).")


def test_without_a_record_there_is_no_number_to_look_back_at():
    first, *_, last = closing_lines(scenes.passed().shown, None)

    assert first.startswith("Not on record: 5:00")
    assert last == "Look back at passes on record: sidecar passes"


def test_where_nothing_was_measured_nothing_is_said():
    feed = scenes.preparing()

    assert (closing_lines(feed.shown, None), closing_object(feed.shown, None)) == ((), {})


def test_leaving_a_screen_elsewhere_says_that_the_run_goes_on():
    first, figures, found, last = parting_lines(scenes.down().shown, "10.0.0.7:9139")

    assert first == "So far: 3:04 of rehearsal, goal production"
    assert figures == "Integrated −22.1 LUFS, range 6.2 LU, true peak −2.8 dBTP"
    assert found == "Nearest limit or beyond it: integrated −22.1: 0.7 LU over the limit −22.8 LUFS."
    assert last == "The run at 10.0.0.7:9139 is not ended by this: sidecar screen --attach 10.0.0.7:9139"
    assert parting_lines(scenes.preparing().shown, "10.0.0.7:9139") == ()


def test_the_json_object_says_the_same():
    found = closing_object(scenes.failed().shown, 12)

    assert (found["type"], found["pass"], found["passes"]) == ("pass", 12, False)
    assert (found["integrated_lufs"], found["next_pass_gain_db"]) == (-20.9, -2.1)
    assert len(found["verdict"]) == 2


ARMINGS = [scenes.unarmed, scenes.arming, scenes.armed, scenes.unarmed]


@pytest.mark.parametrize("lines", [PlainLines, SpokenLine])
def test_arming_its_caution_and_why_it_ended_are_printed_without_a_screen(lines, capsys):
    outlet = lines()
    for beat, scene in enumerate(ARMINGS):
        outlet(replace(scene().shown, beat=beat // 2))
    said = capsys.readouterr().out

    assert [said.count(scene().shown.arm.sentence) for scene in ARMINGS] == [2, 1, 1, 2]
    assert said.count("Caution") == 2


def test_in_json_each_change_of_arming_is_an_object(capsys):
    outlet = JsonLines()
    for scene in (*ARMINGS, scenes.unarmed):
        outlet(scene().shown)
    said = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    found = [(one["is_armed"], one["is_waiting"]) for one in said if one["type"] == "arm"]

    assert found == [(False, False), (False, True), (True, False), (False, False)]
    assert all(one["text"] for one in said if one["type"] == "arm")
