"""The dialogue beside the guides of a goal."""

from dataclasses import replace

import pytest

from sidecar.loudness.dialogue_guides import briefly, in_words, ldr_side, loudness_guide, loudness_side
from sidecar.model.dialogue import DialogueLoudness
from sidecar.settings.goals import load_goal

R128 = load_goal("r128")
CINEMA = load_goal("r128-s4")
"""EBU R 128 s4 in Tech 3343 §9.4: dialogue within -28 to -23 LUFS, LDR of 5 LU at most."""


def found(dialogue_lufs, programme_lufs=-23.0):
    return DialogueLoudness("stem", dialogue_lufs, programme_lufs, 60.0, 100.0, stem="voice")


@pytest.mark.parametrize(
    ("dialogue_lufs", "loudness", "ldr"),
    [
        (-28.06, "under", "over"),
        (-28.04, "inside", "inside"),
        (-25.0, "inside", "inside"),
        (-22.96, "inside", "inside"),
        (-22.94, "over", "inside"),
    ],
)
def test_figures_are_held_against_guides_as_they_are_shown(dialogue_lufs, loudness, ldr):
    dialogue = found(dialogue_lufs)

    assert loudness_side(dialogue, CINEMA) == loudness
    assert ldr_side(dialogue, CINEMA) == ldr
    assert (loudness_side(dialogue, R128), ldr_side(dialogue, R128)) == (None, None)


def test_one_guide_is_enough():
    goal = replace(R128, most_dialogue_lufs=-24.0)

    assert (loudness_side(found(-23.0), goal), loudness_side(found(-40.0), goal)) == ("over", "inside")
    assert loudness_guide(goal) == "guide to −24"
    assert loudness_guide(replace(R128, least_dialogue_lufs=-28.0)) == "guide from −28"


def test_the_words_have_the_side_the_share_and_where_it_is_known_from():
    assert in_words(found(-28.4), CINEMA) == (
        "dialogue −28.4 LUFS (under the guide −28 to −23), LDR 5.4 LU (over the guide to 5), "
        "in 60 % of the time, on the stem voice"
    )
    assert in_words(found(-27.0), R128) == (
        "dialogue −27.0 LUFS, LDR 4.0 LU, in 60 % of the time, on the stem voice"
    )


def test_a_sentence_that_is_read_out_is_short():
    assert briefly(found(-28.4), CINEMA) == (
        "Dialogue −28.4 LUFS, under its guide; LDR 5.4 LU, over its guide."
    )
    assert briefly(found(-27.0), CINEMA) == "Dialogue −27.0 LUFS; LDR 4.0 LU."
    assert briefly(DialogueLoudness("markers"), CINEMA) == "Marked dialogue not measured yet."


def test_automatic_detection_says_so_and_how_sure_it_is():
    dialogue = DialogueLoudness("detector", -27.0, -23.0, 55.0, 100.0, 0.93)

    assert in_words(dialogue, R128).endswith("in 55 % of the time, automatic, confidence 93 %")


def test_without_dialogue_found_no_confidence_is_given():
    assert "confidence" not in in_words(DialogueLoudness("detector", seconds=60.0), R128)


def test_too_little_dialogue_has_no_figure_and_no_side():
    dialogue = DialogueLoudness("markers", programme_lufs=-23.0, speech_s=3.0, seconds=60.0)

    assert in_words(dialogue, CINEMA) == ("dialogue not measured: less than 5 s of it so far, marked by hand")
    assert (loudness_side(dialogue, CINEMA), ldr_side(dialogue, CINEMA)) == (None, None)
