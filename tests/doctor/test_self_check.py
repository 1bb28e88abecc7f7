"""The line-up tone through the whole chain: what is played, what arrives, and what is said of it."""

import subprocess
from contextlib import closing
from functools import partial

import numpy as np
import pytest

from sidecar.cli import main
from sidecar.doctor import tone_test
from sidecar.doctor.tone_process import LENGTH_S, Output, ToneOrder, choose_output, tone
from sidecar.doctor.tone_test import Arrival, judge, listen, run_tone_test
from sidecar.errors import SourceError
from sidecar.meter import Meter
from sidecar.sources.device import DeviceSource
from sidecar.sources.inputs import DeviceInfo

RATE_HZ = 48_000
INPUT = DeviceInfo("input", "Core Audio", 2, RATE_HZ)
BEGAN_S = 1000.0
BLOCK = 480


def arrivals(frames, delay_s=0.1, rate_hz=RATE_HZ, lost=()):
    """*frames* in blocks as a device gives them: the first frame is there *delay_s* after the beginning."""
    starts = range(0, len(frames), BLOCK)
    return [
        Arrival(frames[at : at + BLOCK], BLOCK * (number in lost), BEGAN_S + delay_s + at / rate_hz)
        for number, at in enumerate(starts)
    ]


def around(sound, before_s=0.5, after_s=1.0):
    """Silence, the sound, silence."""
    return np.concatenate(
        [
            np.zeros((round(s * RATE_HZ), 2), np.float32) if isinstance(s, float) else s
            for s in (before_s, sound, after_s)
        ]
    )


def said(frames, **how):
    """What is said of frames that arrived, by its name."""
    heard = listen(arrivals(frames, **how), how.get("rate_hz", RATE_HZ), BEGAN_S)
    return {found.what: found for found in judge(heard, INPUT, "output")}


def test_the_tone_reads_what_the_standard_gives_it():
    """Tech 3341 case 1: 1 kHz in phase at −23 dBFS is −23.0 ± 0.1 LUFS, momentary and short-term."""
    for rate_hz in (44_100, 48_000, 96_000):
        meter = Meter(rate_hz, "stereo")
        meter.push(tone(rate_hz))
        reading = meter.reading()

        assert reading.max_short_term == pytest.approx(-23.0, abs=0.1)
        assert reading.max_momentary == pytest.approx(-23.0, abs=0.1)
        assert reading.sample_peak == pytest.approx(-23.0, abs=0.01)
        assert round(LENGTH_S * rate_hz) == len(tone(rate_hz))


def test_the_tone_begins_and_ends_without_a_click():
    """It rises from nothing: no step is larger than the steepest of the sine itself."""
    sine = tone(RATE_HZ)[:, 0].astype(float)
    steepest = 10 ** (-23 / 20) * 2 * np.pi * 1000 / RATE_HZ

    assert sine[0] == 0.0
    assert np.abs(np.diff(np.concatenate([[0.0], sine, [0.0]]))).max() <= steepest


def test_a_chain_that_changes_nothing_is_well():
    """Level, pitch, way and losses, each with its figure."""
    found = said(around(tone(RATE_HZ)), delay_s=-0.38)  # 0.5 s of silence: so the tone is there after 0.12 s

    assert all(one.is_well for one in found.values())
    assert found["tone's level"].detail == "+0.01 LU from −23.0 LUFS"
    assert found["tone's pitch"].detail == "1000.0 Hz"
    assert "120 ms" in found["tone's way"].detail
    assert found["dropped samples"].detail == "0 samples were dropped"


@pytest.mark.parametrize(("gain_db", "shown"), [(-6.0, "−5.99 LU"), (-0.2, "−0.19 LU"), (3.0, "+3.01 LU")])
def test_a_level_that_is_off_is_told_by_how_much(gain_db, shown):
    """Beyond the standard's 0.1 LU it is not well, and the remedy is said."""
    found = said(around(tone(RATE_HZ)) * np.float32(10 ** (gain_db / 20)))["tone's level"]

    assert not found.is_well
    assert found.detail.startswith(f"{shown} from −23.0 LUFS; ")
    assert "not at 100 %" in found.detail


def test_a_level_within_the_standards_tolerance_is_well():
    """Tech 3341: ± 0.1 LU."""
    assert said(around(tone(RATE_HZ)) * np.float32(10 ** (-0.08 / 20)))["tone's level"].is_well


@pytest.mark.parametrize(("kept", "side"), [((1, 0), "left"), ((0, 1), "right")])
def test_a_lost_side_is_named(kept, side):
    """3 LU too little from one channel alone is no matter of volume."""
    found = said(around(tone(RATE_HZ)) * np.array(kept, np.float32))

    assert (
        found["tone's level"].detail
    ) == f"only the {side} channel arrives: check balance and routing between output and input"
    assert found["tone's pitch"].is_well


def test_rates_that_are_taken_for_each_other_are_told_by_the_pitch():
    """Played at 48 kHz and read as 44.1: 1000 Hz become 918.75, while the level is all but right."""
    found = said(around(tone(RATE_HZ)), rate_hz=44_100)

    assert found["tone's pitch"].detail.startswith("918.8 Hz; something runs at another rate")
    assert not found["tone's pitch"].is_well


def test_losses_are_counted():
    """Two blocks with 480 frames missing before each."""
    found = said(around(tone(RATE_HZ)), lost=(70, 90))["dropped samples"]

    assert (
        found.is_well,
        found.detail,
    ) == (False, "960 samples were dropped; close what loads the machine and try again")


def test_the_way_is_not_told_where_something_else_sounded_before():
    """An onset before the tone was even handed over cannot be its own."""
    found = said(np.repeat(tone(RATE_HZ), 1, axis=0), delay_s=-0.2)

    assert (
        found["tone's way"].is_well,
        found["tone's way"].detail,
    ) == (True, "unknown: something else sounded before")


@pytest.mark.parametrize("frames", [np.zeros((RATE_HZ, 2), np.float32), np.empty((0, 2), np.float32)])
def test_nothing_at_all_is_one_finding_that_names_both_ends(frames):
    """Neither level nor pitch is made up from silence."""
    found = said(frames)

    assert list(found) == ["tone"]
    assert not found["tone"].is_well
    assert found["tone"].detail.startswith("nothing of it came from output to input; ")


def test_a_microphone_or_music_beside_it_is_not_taken_for_the_tone():
    """Noise alone, and noise nearly as loud as the tone: no level is given, and no volume blamed."""
    noise = np.random.default_rng(5).standard_normal((8 * RATE_HZ, 2)) * 10 ** (-30 / 20)
    alone = said(noise.astype(np.float32))
    beside = said((around(tone(RATE_HZ), 1.0, 2.0) + noise).astype(np.float32))

    for found in (alone, beside):
        assert list(found) == ["tone"]
        assert found["tone"].detail.startswith("input receives something else, or more than the tone")


def test_a_little_noise_is_no_matter():
    """Real inputs hiss: 50 dB under the tone nothing is mistaken."""
    noise = np.random.default_rng(5).standard_normal((round(6.5 * RATE_HZ), 2)) * 10 ** (-73 / 20)

    assert all(one.is_well for one in said((around(tone(RATE_HZ)) + noise).astype(np.float32)).values())


OUTPUTS = (
    Output(0, "Headphones", "Core"),
    Output(1, "Virtual 2ch", "Core"),
    Output(2, "Speakers", "Core", is_default=True),
    Output(3, "Speakers", "Old"),
)


@pytest.mark.parametrize(
    ("wanted", "heard_at", "index"),
    [
        (None, "Virtual 2ch", 1),  # the input's own other side
        (None, "Microphone", 2),  # else the system's
        ("head", "Virtual 2ch", 0),
        ("SPEAKERS", "Virtual 2ch", 2),  # of two of that name the one in the input's API
        ("Speakers (Old)", "Virtual 2ch", 3),
    ],
)
def test_an_output_is_found(wanted, heard_at, index):
    """By name where one is given, else the one that belongs to the input."""
    assert index == choose_output(OUTPUTS, ToneOrder(wanted, heard_at, "Core", RATE_HZ)).index


def test_an_output_that_is_not_clear_is_asked_for():
    """Never guessed: a tone on the wrong loudspeaker is heard by the wrong people."""
    with pytest.raises(
        SourceError, match=r"No output is called 'x'.*--play-to\. There are: Headphones \(Core\)"
    ):
        choose_output(OUTPUTS, ToneOrder("x", "Microphone", "Core", RATE_HZ))
    with pytest.raises(SourceError, match="Several outputs are called 'e'"):
        choose_output(OUTPUTS, ToneOrder("e", "Microphone", "Core", RATE_HZ))
    with pytest.raises(SourceError, match=r"no output of its own: .* --play-to\. There are: none"):
        choose_output((), ToneOrder(None, "Microphone", "Core", RATE_HZ))


@pytest.fixture
def two(loopback):
    """A loopback that is as wide as the tone."""
    loopback.down()
    loopback.up(channels=2)
    return loopback


@pytest.mark.slow
def test_doctor_measures_a_real_chain_after_saying_so(two, monkeypatch, capsys):
    """Through a real sound server: −23.0 LUFS within 0.1 LU, in tune, nothing lost, after the caution."""
    monkeypatch.setattr(tone_test, "run_tone_test", partial(run_tone_test, lead_s=0.1))
    main(["doctor", "--tone"])
    lines = capsys.readouterr().out.splitlines()
    at = next(number for number, line in enumerate(lines) if line.startswith("CAUTION"))

    assert "1 kHz tone at −23.0 LUFS will sound for 5 s on loopback (PulseAudio)" in lines[at]
    assert lines[at + 1].startswith(("✓ tone's level: +0.0", "✓ tone's level: −0.0"))
    assert lines[at + 2].startswith(("✓ tone's pitch: 1000.", "✓ tone's pitch: 999."))
    assert lines[at + 3].startswith("✓ tone's way: ")
    assert lines[at + 4] == "✓ dropped samples: 0 samples were dropped"


@pytest.mark.slow
def test_a_real_volume_that_is_down_is_found(two):
    """Half way down at a sound server of cubic volumes (from memory): 60 log10 0.5 = −18.06 dB."""
    subprocess.run(["pactl", "set-sink-volume", "loopback", "50%"], check=True)
    cautions = []
    found = list(run_tone_test("loopback", None, cautions.append, lead_s=0.1))
    known, level = (
        next(one for one in found if one.what == what) for what in ("output's volume", "tone's level")
    )

    assert not known.is_well
    assert known.detail.startswith("−18.1 dB: pactl set-sink-volume loopback 100%")
    assert not level.is_well
    assert level.detail.startswith("−18.0")
    assert (
        "pactl set-sink-volume loopback 100%; pactl set-source-volume loopback.monitor 100%" in level.detail
    )
    assert len(cautions) == 1
    with closing(DeviceSource("loopback")) as source:
        assert source.title == "loopback.monitor, at −18.1 dB"


@pytest.mark.slow
def test_who_says_no_in_time_hears_nothing(two, monkeypatch):
    """Ctrl-C after the caution: the process that would play is gone before it began."""
    players = []

    class Watched(tone_test.TonePlayer):
        def __init__(self, order):
            players.append(self)
            super().__init__(order)

        def play(self):
            raise AssertionError("it was told to play")

    def refuse(_caution):
        raise KeyboardInterrupt

    monkeypatch.setattr(tone_test, "TonePlayer", Watched)
    with pytest.raises(KeyboardInterrupt):
        list(run_tone_test("loopback", None, refuse))

    assert [player._process.poll() for player in players] == [-9]


@pytest.mark.slow
def test_an_output_that_is_not_there_is_said_with_those_that_are(two):
    """Nothing is played anywhere else instead."""
    with pytest.raises(SourceError, match=r"No output is called 'nowhere'.*loopback \(PulseAudio\)"):
        list(run_tone_test("loopback", "nowhere", lambda _: pytest.fail("nothing is about to sound")))


def test_nothing_sounds_without_being_asked_for(monkeypatch, capsys):
    """Plain ``sidecar doctor`` starts no player."""

    def never(*_):
        raise AssertionError("a tone was about to be played")

    monkeypatch.setattr(tone_test, "TonePlayer", never)
    main(["doctor"])

    assert "CAUTION" not in capsys.readouterr().out


@pytest.mark.parametrize("option", ["--device", "--play-to"])
def test_where_to_play_without_playing_is_refused(option, capsys):
    """The options belong to the tone."""
    assert main(["doctor", option, "x"]) == 2
    assert f"{option} belongs to --tone" in capsys.readouterr().err
