"""Gaps in words."""

import pytest

from sidecar.model.gaps import in_a_sentence, in_course, length


def test_a_gap_says_what_it_was():
    """A loss, a sleep, or a sleep with a loss behind it."""
    assert in_course(2.017, 0.0) == "2.02 s lost"
    assert in_course(0.5, 4.2) == "the machine slept for 4.2 s; 0.50 s lost"
    assert in_course(0.0, 0.0, 3.0) == "the sidecar was stopped for 3.0 s"
    assert in_a_sentence(0.5, 0.0) == "0.50 s of audio were lost. The measurement continues without them."
    assert (
        in_a_sentence(0.5, 4.2)
        == "The machine slept for 4.2 s, and 0.50 s of audio were lost. The measurement continues without "
        "them."
    )


@pytest.mark.parametrize(
    ("seconds", "said"),
    [(59.9, "59.9 s"), (60.0, "1 min 0 s"), (3599.7, "1 h 0 min"), (29_520.0, "8 h 12 min")],
)
def test_lengths_are_said_as_people_say_them(seconds, said):
    """To the tenth while short, to the second, to the minute."""
    assert said == length(seconds)
