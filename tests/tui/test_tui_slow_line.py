"""The screen at the end of a line that carries 20, 5 or 2 KB/s. How long a key takes is for
``benchmarks/slow_line.py``."""

import pytest
from slow_terminal import SlowTerminal

pytestmark = pytest.mark.slow

LATEST = 3
"""Answers between a drawing of the heading and the moment when it is read, at most."""


@pytest.mark.parametrize("bytes_per_s", [20_000, 5_000])
def test_what_is_shown_was_drawn_after_the_last_answers(bytes_per_s):
    """So nothing piles up on the line: what is read was drawn at most three drawings ago."""
    with SlowTerminal(bytes_per_s) as terminal:
        terminal.read_until(lambda it: it.drawn_s() and len(it.answers_s) > 2 * LATEST, "the first drawings")
        late = []
        for _ in range(10):
            known = len(terminal.answers_s)
            terminal.read_until(lambda it, known=known: len(it.answers_s) > known, "the next drawing")
            late.append(terminal.answers_s[known - LATEST] - terminal.drawn_s())

    assert max(late) <= 0.01  # the heading shows hundredths


def test_a_slow_line_is_named_and_a_key_is_answered_on_it():
    """Ten drawings of this programme take 3.5 KB, so a line of 5 KB/s is not a slow one."""
    with SlowTerminal(2_000) as terminal:
        terminal.read_until(lambda it: "slow line" in it.text(), "its name")
        before = terminal.text().count("LUFS")
        terminal.press("u")
        terminal.read_until(lambda it: it.text().count("LUFS") < before, "levels in LU")
