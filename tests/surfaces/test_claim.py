"""One sidecar at a time for a fader."""

import pytest

from sidecar.surfaces.claim import FaderClaim
from sidecar.surfaces.fader_line import FaderLine

pytest.importorskip("fcntl")


@pytest.fixture
def claim(tmp_path):
    """Makes claims, and releases them."""
    made = []

    def make(fader="127.0.0.1 8000 /master/level"):
        made.append(FaderClaim(tmp_path / "locks", fader))
        return made[-1]

    yield make
    for each in made:
        each.release()


def test_a_fader_is_one_run_s_until_that_gives_it_up(claim):
    first, second = claim(), claim()

    assert [first.acquire(), first.acquire(), second.acquire()] == [True, True, False]
    first.release()
    assert [second.acquire(), first.acquire()] == [True, False]


def test_another_fader_is_another_claim(claim):
    claims = claim(), claim("127.0.0.1 8001 /master/level")

    assert [each.acquire() for each in claims] == [True, True]


def test_where_no_lock_can_be_made_a_fader_is_not_refused(claim, tmp_path):
    (tmp_path / "locks").write_text("in the way")

    assert claim().acquire()


def test_a_second_line_to_one_fader_says_why_it_does_not_open(claim):
    lines = [FaderLine(print, clock=lambda: 0.0, claim=claim()) for _ in range(2)]

    assert lines[0].open() == ""
    assert "another sidecar" in lines[1].open()
    lines[0].close()
    assert lines[1].open() == ""
