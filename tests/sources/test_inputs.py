"""Which input a name means, and which of its channels are used."""

import pytest

from sidecar.errors import SourceError
from sidecar.sources import inputs
from sidecar.sources.inputs import DeviceInfo, channels_to_use, choose, loudspeakers
from sidecar.sources.output_process import channel_map

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
    """Two interfaces of one make cannot be distinguished, so none is taken silently."""
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
    """Measuring the microphone by mistake is worse than asking; the message for Linux names a loopback."""
    monkeypatch.setattr(inputs.sys, "platform", "linux")

    with pytest.raises(SourceError, match=r"sidecar devices lists them\. .*--make-output mix"):
        choose([*PLUGS[1:], CARD], None)


def monitor(output, in_use=False, api="PulseAudio", description=""):
    """The monitor of one output, as a server lists it."""
    told = description or f"Monitor of {output}"
    return DeviceInfo(
        f"{output}.monitor", api, 2, 48_000, description=told, monitored=output, is_in_use=in_use
    )


MICROPHONE = DeviceInfo("card.analog-stereo", "PulseAudio", 2, 48_000, description="Built-in microphone")
SPEAKERS, MIX = monitor("card.hdmi", in_use=True, description="Monitor of HDMI"), monitor("mix")
SERVER = [MICROPHONE, SPEAKERS, MIX]


def test_without_a_name_the_monitor_of_the_output_in_use_is_taken():
    assert choose([*SERVER, CARD], None) == SPEAKERS


@pytest.mark.parametrize(
    "wanted", ["mix", "mix.monitor", "MIX.mon", "Monitor of mix", "mix.monitor (PulseAudio)"]
)
def test_a_monitor_is_found_by_its_name_by_its_output_and_by_part_of_it(wanted):
    assert choose([*SERVER, CARD], wanted) == MIX


def test_a_monitor_is_found_by_part_of_its_description():
    assert choose(SERVER, "hdmi") == SPEAKERS


def test_a_name_that_no_source_has_is_refused_beside_a_microphone_too():
    with pytest.raises(SourceError, match=r"No input is called 'tape'\. There are: card.analog-stereo"):
        choose(SERVER, "tape")


def test_a_part_that_several_monitors_have_is_refused():
    with pytest.raises(SourceError, match=r"'monitor' may be any of: card\.hdmi\.monitor .*, mix\.monitor"):
        choose([*SERVER, monitor("other")], "monitor")


@pytest.mark.parametrize("wanted", [None, "pulse", "default"])
def test_the_variable_of_the_sound_server_is_followed_strictly(monkeypatch, wanted):
    """Scripts of before go on; a source of that name or none."""
    monkeypatch.setenv("PULSE_SOURCE", "mix.monitor")
    assert choose(SERVER, wanted) == MIX

    monkeypatch.setenv("PULSE_SOURCE", "gone.monitor")
    with pytest.raises(SourceError, match=r"No input is called 'gone\.monitor'"):
        choose(SERVER, wanted)


def test_a_jack_client_and_an_output_that_are_both_in_use_are_not_guessed_between():
    client = DeviceInfo("player", "JACK", 2, 48_000, monitored="player", is_in_use=True)

    assert choose([MICROPHONE, client], None) == client
    with pytest.raises(SourceError, match=r"Several outputs are in use: card\.hdmi\.monitor .*, player"):
        choose([*SERVER, client], None)


def test_through_pipewire_an_output_is_not_in_use_twice():
    """Its JACK interface shows the outputs of its PulseAudio interface again."""
    output = monitor("speakers", in_use=True, api="PipeWire")
    client = DeviceInfo("player", "JACK", 2, 48_000, monitored="player", is_in_use=True)

    assert choose([output, client], None) == output


def test_a_source_of_a_server_is_opened_at_its_own_rate_alone():
    assert monitor("mix").rates_after(44_100) == (48_000,)


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


def test_the_channel_map_of_an_output_says_which_loudspeakers_it_feeds():
    """ITU-R BS.2051: M±110 (Ls, Rs) in 5.1; M±90 and M±135 (Lss, Lrs …) in 7.1."""
    six, eight = channel_map(6), channel_map(8)

    assert loudspeakers(six) == ("L", "R", "Ls", "Rs", "C", "LFE")
    assert loudspeakers(eight) == ("L", "R", "Lrs", "Rrs", "C", "LFE", "Lss", "Rss")
    assert loudspeakers(channel_map(2)) is None
    assert loudspeakers(("aux0", "aux1", "aux2")) is None
    assert loudspeakers(("front-left", "front-right", "mono")) is None
