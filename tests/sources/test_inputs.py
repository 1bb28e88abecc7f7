"""Which input a name means, and which of its channels are used."""

import pytest

from sidecar.errors import SourceError
from sidecar.sources import inputs
from sidecar.sources.inputs import DeviceInfo, channels_to_use, choose

PLUGS = [DeviceInfo(name, "ALSA", 32, 44_100) for name in ("loopback", "pulse", "default")]
CARD = DeviceInfo("Eight In: Audio (hw:1,0)", "ALSA", 8, 44_100)
# The same two inputs as the APIs of one system show them; MME cuts names after 31 characters.
WINDOWS = [
    DeviceInfo("Line In (Eight In Audio Interfa", "MME", 2, 44_100),
    DeviceInfo("Virtual Cable Output (Some Virt", "MME", 2, 44_100),
    DeviceInfo("Line In (Eight In Audio Interface)", "Windows DirectSound", 2, 44_100),
    DeviceInfo("Virtual Cable Output (Some Virtual Audio)", "Windows DirectSound", 2, 44_100),
    DeviceInfo("Line In (Eight In Audio Interface)", "Windows WASAPI", 2, 96_000),
    DeviceInfo("Virtual Cable Output (Some Virtual Audio)", "Windows WASAPI", 2, 48_000),
]


def test_part_of_a_name_in_any_case_is_enough():
    """Typing a few letters finds the device when only one has them."""
    assert choose([*PLUGS, CARD], "eight") == CARD


def test_an_exact_name_wins_over_longer_ones():
    """The name of one device may be part of another's."""
    longer = DeviceInfo("default again", "ALSA", 2, 44_100)

    assert PLUGS[2] == choose([longer, *PLUGS], "default")


def test_several_matches_are_listed():
    """The person sees the names to choose from."""
    with pytest.raises(SourceError, match=r"'l' may be any of: loopback \(ALSA\), pulse \(ALSA\)"):
        choose([*PLUGS, CARD][:2], "l")


def test_twins_of_one_name_are_not_guessed_between():
    """Two interfaces of one make cannot be told apart, so none is taken silently."""
    with pytest.raises(SourceError, match="may be any of"):
        choose([CARD, CARD], CARD.name)


def test_an_unknown_name_lists_what_there_is():
    """A typing error ends in the list of the right spellings."""
    with pytest.raises(SourceError, match=r"'loopbak'.* loopback \(ALSA\), pulse \(ALSA\), default \(ALSA\)"):
        choose(PLUGS, "loopbak")


def test_no_inputs_at_all_is_said():
    """A machine without sound gets a sentence, not an index error."""
    with pytest.raises(SourceError, match="no audio inputs"):
        choose([], None)


def test_an_input_shown_by_several_apis_is_one_input():
    """Of an input's several appearances the one that opens at the device's own rate is taken."""
    assert WINDOWS[4] == choose(WINDOWS, "line in")
    assert WINDOWS[5] == choose(WINDOWS, None)


def test_an_api_can_be_named():
    """The label from the list names one appearance, best or not."""
    assert WINDOWS[3] == choose(WINDOWS, "Virtual Cable Output (Some Virtual Audio) (Windows DirectSound)")


def test_without_a_name_the_likeliest_loopback_is_taken():
    """What is called loopback comes before what is only called virtual."""
    virtual = DeviceInfo("Virtual microphone", "Core Audio", 1, 48_000)
    loop = DeviceInfo("Mix Loopback", "Core Audio", 2, 48_000)

    assert loop == choose([CARD, virtual, loop], None)


def test_without_a_loopback_nothing_is_guessed(monkeypatch):
    """Measuring the microphone by mistake is worse than asking; Linux is told how to point pulse."""
    monkeypatch.delenv("PULSE_SOURCE", raising=False)
    monkeypatch.setattr(inputs.sys, "platform", "linux")

    with pytest.raises(SourceError, match=r"sidecar devices lists them\. .*PULSE_SOURCE"):
        choose([*PLUGS[1:], CARD], None)


def test_pulse_is_a_loopback_when_it_was_pointed_at_a_monitor(monkeypatch):
    """The advice for Linux works: with the variable set, no name is needed."""
    monkeypatch.setenv("PULSE_SOURCE", "some_output.monitor")

    assert PLUGS[1] == choose([*PLUGS[1:], CARD], None)


def test_a_card_is_recorded_in_its_whole_width():
    """Fewer channels than a device has would be mixed or cut by the system."""
    assert channels_to_use(CARD, None, (3, 4)) == (8, (2, 3))
    assert channels_to_use(CARD, 2, None) == (8, (0, 1))
    assert (8, tuple(range(8))) == channels_to_use(CARD, None, None)


def test_a_plug_in_is_recorded_in_stereo_unless_told():
    """ALSA's plug-ins claim 32 channels whatever they listen to, so 2 are assumed."""
    assert channels_to_use(PLUGS[0], None, None) == (2, (0, 1))
    assert (6, tuple(range(6))) == channels_to_use(PLUGS[0], 6, None)
    assert channels_to_use(PLUGS[0], 6, (1, 2, 5, 6, 3, 4)) == (6, (0, 1, 4, 5, 2, 3))


@pytest.mark.parametrize(
    ("device", "channels", "pick", "message"),
    [
        (CARD, None, (8, 9), "has channels 1 to 8; 8,9 cannot"),
        (CARD, None, (0, 1), "has channels 1 to 8; 0,1 cannot"),
        (CARD, None, (1, 1), "different numbers from 1, not '1,1'"),
        (CARD, None, (), "different numbers"),
        (CARD, 9, None, "1 to 8 channels, not 9"),
        (CARD, 0, None, "1 to 8 channels, not 0"),
        (PLUGS[0], 6, (7, 8), "has channels 1 to 6; 7,8 cannot"),
        (PLUGS[0], None, (3, 4), "Say also how many channels the output"),
        (DeviceInfo("Stage", "Core Audio", 64, 48_000), None, None, "64 channels. Say which"),
    ],
)
def test_channels_that_are_not_there_are_refused_in_words(device, channels, pick, message):
    """The message says what the device has and what to say instead."""
    with pytest.raises(SourceError, match=message):
        channels_to_use(device, channels, pick)


def test_a_device_that_tells_its_rate_is_opened_at_it():
    """Another rate would be resampled silently; where the system always says 44100, 48000 comes first."""
    assert WINDOWS[4].rates_after(48_000) == (96_000, 48_000)
    assert WINDOWS[5].rates_after(48_000) == (48_000,)
    assert PLUGS[0].rates_after(48_000) == (48_000, 44_100)
