"""Timecode against SMPTE ST 12-1: counted frame by frame beside the reckoning, and figures known by heart."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sidecar.errors import SettingsError
from sidecar.model.timecode import FRAME_RATES, Clock, place_from


def counted_by_hand(counted, dropped, minutes):
    """Every timecode in order, as the rule says it: numbers are left out at each minute but every tenth."""
    for minute in range(minutes):
        for second in range(60):
            for frame in range(counted):
                if not (second == 0 and frame < dropped and minute % 10):
                    yield minute // 60, minute % 60, second, frame


@pytest.mark.slow
@pytest.mark.parametrize("name", ["25", "29.97", "29.97df", "59.94df", "24"])
def test_every_frame_of_an_hour_has_the_number_that_counting_gives(name):
    rate = FRAME_RATES[name]
    separator = ";" if rate.dropped else ":"
    for frame, (h, m, s, f) in enumerate(counted_by_hand(rate.counted, rate.dropped, 61)):
        assert rate.frame_number(frame) == f"{h:02}:{m:02}:{s:02}{separator}{f:02}"
        assert rate.frame_of(h, m, s, f) == frame


@pytest.mark.parametrize(
    ("name", "text"),
    [("29.97df", "01:00:00;00"), ("59.94df", "01:00:00;00"), ("29.97", "00:59:56:12"), ("25", "01:00:00:00")],
)
def test_an_hour_on_the_clock(name, text):
    """107,892 frames at 29.97 in an hour of drop-frame numbers: 3.6 ms from the clock. Without dropping, the
    count is 3.6 s behind (both by the rule of SMPTE ST 12-1, reckoned by hand)."""
    hour_s = (
        3600.0
        if not FRAME_RATES[name].dropped
        else float(FRAME_RATES[name].frame_of(1, 0, 0, 0) / FRAME_RATES[name].per_second)
    )

    assert hour_s == pytest.approx(3600.0, abs=0.004)
    assert Clock(rate=name).words(hour_s) == text


@pytest.mark.parametrize("text", ["00:01:00;00", "00:01:00;01", "00:59:00;00", "24:00:00;00", "00:00:00;30"])
def test_numbers_that_there_are_not_are_refused(text):
    with pytest.raises(SettingsError, match=r"is no timecode at 29\.97df"):
        place_from(text, "29.97df", 0.0)


@given(st.sampled_from(sorted(FRAME_RATES)), st.integers(0, 2_000_000), st.integers(0, 86_399))
def test_a_place_that_is_told_is_found_again(name, frame, reference_s):
    """Within the day, to the frame, whatever the file's own time reference."""
    rate = FRAME_RATES[name]
    clock = Clock(reference_s=float(reference_s), rate=name)
    place_s = float(frame / rate.per_second)
    if reference_s + place_s >= 86_390:
        return
    told = clock.words(place_s)
    found_s = place_from(told, name, float(reference_s))

    assert clock.words(max(0.0, found_s)) == told
    assert place_s - 1.001 / float(rate.per_second) < found_s <= place_s + 1e-6


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("1:02:03.5", 3723.5), ("90", 90.0), ("0:00:00.0", 0.0), ("2:30", 150.0)],
)
def test_hours_minutes_and_seconds(text, seconds):
    assert place_from(text, "", 0.0) == seconds


@pytest.mark.parametrize("text", ["", "now", "1:2:3:4:5", "-3", "1:00:00,5"])
def test_what_is_no_place_is_refused(text):
    with pytest.raises(SettingsError, match="is no time in a file"):
        place_from(text, "25", 0.0)


def test_a_timecode_needs_a_rate():
    with pytest.raises(SettingsError, match="give its frame rate, such as --fps 25"):
        place_from("10:00:00:00", "", 0.0)
