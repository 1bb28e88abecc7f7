"""A tone of its own in each channel: which arrives where, what was mixed, and on which side."""

from dataclasses import replace

import numpy as np
import pytest

from sidecar.doctor import channel_tones
from sidecar.doctor.channel_tones import judge, measure
from sidecar.doctor.signal_path import check
from sidecar.doctor.tone_process import channel_tones as played
from sidecar.meter import Meter
from sidecar.sources.inputs import DeviceInfo, PlayerInfo
from sidecar.sources.output_process import channel_map

RATE_HZ = 48_000
SIDES = channel_map(8)
EIGHT = DeviceInfo(
    *("stems.monitor", "PulseAudio", 8, RATE_HZ),
    monitored="stems",
    positions=SIDES,
    output_positions=SIDES,
    sample_format="float32le",
)


def said(frames, device=EIGHT, sent=8):
    return {found.what: found for found in judge(measure(frames, RATE_HZ, sent), device, "stems")}


def test_all_tones_together_are_as_loud_as_the_line_up_tone():
    """BS.1770-5 Annex 1: energies of channels add up; its filter weighs the lower tones up to 0.7 dB less."""
    meter = Meter(RATE_HZ, ",".join(["L", "R"] * 4))
    meter.push(played(RATE_HZ, 8))

    assert channel_tones.level_dbfs(8) == pytest.approx(-29.02, abs=0.01)
    assert meter.reading().max_short_term == pytest.approx(-23.0, abs=0.7)


def test_eight_tones_in_their_places_are_well():
    found = said(played(RATE_HZ, 8))

    assert [one.is_well for one in found.values()] == [True] * 8
    assert found["tone of channel 3"].detail == "arrives in channel 3 (+0.00 dB)"


@pytest.mark.parametrize("channels", [1, 2, 6, 16])
def test_any_number_of_tones_is_told_apart(channels):
    routes = measure(played(RATE_HZ, channels), RATE_HZ, channels)

    assert [routes.arrivals(tone) for tone in range(channels)] == [[tone] for tone in range(channels)]
    assert np.abs(np.diag(routes.gains_db)).max() < 0.01


def test_a_permutation_is_told_with_the_side_that_reordered():
    """As a player's 7.1 in the order of files arrives at an output whose map is in another."""
    order = [0, 1, 4, 5, 2, 3, 6, 7]
    changed = replace(EIGHT, output_positions=tuple(SIDES[one] for one in order))
    found = said(played(RATE_HZ, 8)[:, order], changed)

    assert found["tone of channel 3"].detail == "arrives in channel 5 (+0.00 dB)"
    assert not found["tone of channel 3"].is_well
    assert "between the player and the output" in found["channel map"].detail
    assert "pactl load-module module-null-sink" in found["channel map"].detail


def test_tones_that_were_mixed_are_told_with_their_level():
    frames = played(RATE_HZ, 8)
    frames[:, 0] += 0.5 * frames[:, 4]
    found = said(frames, replace(EIGHT, positions=("aux0", *SIDES[1:])))

    assert found["tone of channel 5"].detail == (
        "arrives in channel 1 (−6.02 dB) and channel 5 (+0.00 dB), mixed with channel 1"
    )
    assert not found["tone of channel 1"].is_well
    assert "between the output and its monitor" in found["channel map"].detail


def test_an_output_that_is_too_narrow_is_told_as_such():
    frames = played(RATE_HZ, 8)[:, :2]
    found = said(frames, replace(EIGHT, positions=SIDES[:2], output_positions=SIDES[:2]))

    assert found["tone of channel 8"].detail == "arrives nowhere"
    assert "the output has 2 channels and 8 tones were played" in found["channel map"].detail


def test_a_level_that_is_off_is_told_by_how_much():
    found = said(played(RATE_HZ, 8) * np.float32(0.5))

    assert not found["tone of channel 1"].is_well
    assert found["tone of channel 1"].detail == "arrives in channel 1 (−6.02 dB)"


def test_some_dropped_samples_spoil_no_level():
    """A gap of 30 ms in the midst of the tones."""
    frames = np.delete(played(RATE_HZ, 8), slice(2 * RATE_HZ, 2 * RATE_HZ + 1440), axis=0)

    assert all(one.is_well for one in said(frames).values())


@pytest.mark.parametrize("rate_hz", [44_100, 96_000])
def test_tones_at_another_rate_are_not_taken_for_each_other(rate_hz):
    assert not said(played(rate_hz, 8))["tones"].is_well


def test_silence_and_other_sound_are_one_finding():
    noise = np.random.default_rng(1).standard_normal((5 * RATE_HZ, 8)).astype(np.float32) * 0.1

    assert "nothing of them came" in said(np.zeros((RATE_HZ, 8), np.float32))["tones"].detail
    assert "receives something else" in said(noise)["tones"].detail


def test_what_the_server_knows_of_the_output_is_said():
    """A sink of 16 bits, a volume, and a stream at another rate: each with what to do."""
    stream = PlayerInfo("workstation", 44_100, SIDES, 0.0)
    poor = replace(EIGHT, sample_format="s16le", volume_db=-6.02, players=(stream,))
    good = {found.what: found for found in check(EIGHT)}
    bad = {found.what: found for found in check(poor)}

    assert all(one.is_well for one in good.values())
    assert not any(one.is_well for one in bad.values())
    assert "clips at 0 dBFS" in bad["output's format"].detail
    assert bad["output's volume"].detail.startswith("−6.0 dB: pactl set-sink-volume stems 100%")
    assert "plays at 44100 Hz, which is converted to 48000 Hz" in bad["stream of workstation"].detail
