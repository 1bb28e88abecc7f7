"""The passes on record, as a run lists them."""

from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import pytest

from sidecar.errors import RecordError
from sidecar.journal.record import Damaged
from sidecar.model.readings import Reading
from sidecar.run import past_passes
from sidecar.run.past_passes import MOST, PastPasses

NOW = datetime.now(UTC)


def _summary(number, began=NOW - timedelta(days=1)):
    about = SimpleNamespace(source="mix\x1b.wav", goal=SimpleNamespace(name="r128"))
    return SimpleNamespace(id=number, about=about, began=began, reading=Reading(integrated=-20.0 - number))


@pytest.fixture
def record(monkeypatch):
    found, looks = [], []

    def passes(*, last):
        looks.append(last)
        if found and isinstance(found[0], RecordError):
            raise found[0]
        return found[-last:]

    monkeypatch.setattr(past_passes.reader, "passes", passes)
    return found, looks


def test_the_last_pass_comes_first_and_the_one_that_plays_is_left_out(record):
    found, _ = record
    past = PastPasses(is_recorded=True, beside=False)
    past.begin_pass(0.0, is_first=True)
    later = datetime.now(UTC) + timedelta(seconds=1)
    found += [_summary(1), Damaged(2, "torn"), _summary(3), _summary(4, later)]
    past.update(0.0)

    assert [one.id for one in past.latest] == [3, 1]
    assert past.latest[0].integrated == -23.0
    assert "\x1b" not in past.latest[0].source


def test_the_record_is_read_once_a_pass_and_after_a_reset_once_it_is_written(record):
    found, looks = record
    found += [_summary(number) for number in range(40)]
    past = PastPasses(is_recorded=True, beside=False)
    past.begin_pass(0.0, is_first=True)
    for now_s in (0.0, 1.0, 2.0):
        past.update(now_s)
    once = len(looks)
    past.begin_pass(10.0, is_first=False)
    for now_s in (10.0, 11.0):
        past.update(now_s)
    early = len(looks)
    past.update(12.5)

    assert (once, early, len(looks)) == (1, 1, 2)
    assert len(past.latest) == MOST


def test_a_record_that_cannot_be_read_leaves_the_list_as_it_is(record):
    found, _ = record
    past = PastPasses(is_recorded=True, beside=False)
    found.append(RecordError("It is damaged."))
    past.begin_pass(0.0, is_first=True)
    past.update(0.0)

    assert past.latest == ()


def test_a_run_without_a_record_lists_none(record):
    _, looks = record
    past = PastPasses(is_recorded=False, beside=False)
    past.begin_pass(0.0, is_first=True)
    past.update(0.0)

    assert looks == []
