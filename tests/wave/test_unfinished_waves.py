"""WAV files whose sizes were never written, as recorders leave them that stream, crash or lose power."""

import struct

import numpy as np
import pytest
import soundfile
from wave_files import FMT, LIST, bext, long_form, pcm_24, riff, taken_apart

from sidecar.cli import main
from sidecar.delivery.measure.whole_file import measure
from sidecar.sources.remarks import of_chunks

AUDIO = pcm_24(1.0)
WHOLE = riff((b"fmt ", FMT), (b"data", AUDIO))
SIZE = len(WHOLE) - 8
MOST = 0xFFFF_FFFF


def with_sizes(form, data, content=WHOLE):
    """The same file with these two sizes in its headers."""
    place = content.index(b"data") + 4
    return (
        content[:4]
        + struct.pack("<I", form)
        + content[8:place]
        + struct.pack("<I", data)
        + content[place + 4 :]
    )


UNFINISHED = {
    "streamed": with_sizes(MOST, MOST),
    "streamed, the rate's 36 bytes off": with_sizes(MOST - 8, MOST - 44),
    "streamed, half of it": with_sizes(2**31 - 1, 2**31 - 45),
    "both are 0": with_sizes(0, 0),
    "the form is as long as its head": with_sizes(36, 0),
    "the form is right": with_sizes(SIZE, 0),
    "only the form is known": with_sizes(SIZE, MOST),
    "RF64 whose sizes were left out": long_form((b"fmt ", FMT), (b"data", b"")) + AUDIO,
}


def notes_of(measured):
    return [remark.sentence for remark in measured.remarks]


@pytest.mark.parametrize("name", UNFINISHED)
def test_all_that_is_there_is_measured_with_a_note(tmp_path, name):
    (tmp_path / "whole.wav").write_bytes(WHOLE)
    (tmp_path / "open.wav").write_bytes(UNFINISHED[name])
    whole, found = (measure(tmp_path / file, workers=1) for file in ("whole.wav", "open.wav"))

    assert found.reading == whole.reading
    assert found.facts.frames == whole.facts.frames
    assert [note for note in notes_of(found) if "gives no length" in note]
    assert notes_of(whole) == []


@pytest.mark.parametrize("name", UNFINISHED)
def test_a_stamp_finishes_the_file(tmp_path, name, capsys):
    """What is copied for want of room in front of the audio gets the sizes that were missing."""
    path = tmp_path / "open.wav"
    path.write_bytes(UNFINISHED[name])

    assert main(["stamp", str(path)]) == 0
    assert "gives no length" in " ".join(capsys.readouterr().out.split())
    content = path.read_bytes()
    assert dict(taken_apart(content))[b"data"] == AUDIO
    assert notes_of(measure(path, workers=1)) == []
    if content[:4] == b"RIFF":
        assert struct.unpack_from("<I", content, 4)[0] == len(content) - 8


def test_only_the_form_may_be_from_before_the_audio_came(tmp_path):
    """Then the audio's own size holds, and chunks may follow it."""
    path = tmp_path / "a.wav"
    content = riff((b"bext", bext()), (b"fmt ", FMT), (b"data", AUDIO), LIST)
    head = content.index(b"data")
    for form in (0, head):
        path.write_bytes(with_sizes(form, len(AUDIO), content))
        found = measure(path, workers=1)

        assert found.reading.seconds == 1.0
        assert notes_of(found) == []


def test_an_empty_audio_chunk_with_chunks_behind_it_is_empty(tmp_path, capsys):
    path = tmp_path / "a.wav"
    path.write_bytes(riff((b"fmt ", FMT), (b"data", b""), LIST))

    assert main(["check", str(path)]) == 2
    assert "empty" in capsys.readouterr().out


def test_a_cut_is_no_open_end(tmp_path, capsys):
    """A size that was written and is not there."""
    (tmp_path / "a.wav").write_bytes(WHOLE[:-1000])

    assert main(["check", str(tmp_path / "a.wav")]) == 2
    assert "cut off" in capsys.readouterr().out


def test_bytes_behind_the_last_chunk_are_a_note(tmp_path):
    (tmp_path / "a.wav").write_bytes(WHOLE + bytes(1234))
    found = measure(tmp_path / "a.wav", workers=1)

    assert found.reading.seconds == 1.0
    assert notes_of(found) == ["1,234 bytes follow its last chunk: not measured."]


def test_bytes_behind_the_last_chunk_of_an_aiff_are_a_note(tmp_path):
    path = tmp_path / "a.aiff"
    soundfile.write(path, np.zeros((4801, 1)), 48_000, subtype="PCM_24")
    assert notes_of(measure(path, workers=1)) == []
    path.write_bytes(path.read_bytes() + b"?")

    assert notes_of(measure(path, workers=1)) == ["1 byte follows its last chunk: not measured."]


def formatted(tag=1, channels=2, rate_hz=48_000, frame_bytes=6, bytes_a_second=288_000, bits=24):
    """The same audio behind a format chunk of these fields."""
    fields = struct.pack("<HHIIHH", tag, channels, rate_hz, bytes_a_second, frame_bytes, bits)
    return riff((b"fmt ", fields), (b"data", AUDIO))


@pytest.mark.parametrize(
    ("content", "note"),
    [
        (formatted(), None),
        (formatted(bytes_a_second=0), None),
        (
            formatted(channels=1),
            "Its header contradicts itself: 1 channel of 24 bits needs 3 bytes a frame, and it gives 6. "
            "Check channels and length; export again.",
        ),
        (
            formatted(rate_hz=96_000),
            "Its header contradicts itself: 96000 Hz, and bytes for 48000 Hz. Check the speed by ear; export "
            "again.",
        ),
    ],
)
def test_a_header_that_contradicts_itself_is_a_note(tmp_path, content, note):
    (tmp_path / "a.wav").write_bytes(content)

    assert notes_of(measure(tmp_path / "a.wav", workers=1)) == ([] if note is None else [note])


def test_a_frame_without_bytes_is_for_the_reader_to_refuse(tmp_path):
    (tmp_path / "a.wav").write_bytes(formatted(channels=0, frame_bytes=0))

    assert list(of_chunks(tmp_path / "a.wav")) == []


@pytest.mark.parametrize(
    ("name", "content", "note"),
    [
        ("a.flac", WHOLE, "Its name ends in .flac and it is WAV inside: rename it."),
        ("a.WAV", WHOLE, None),
        ("a.rf64", WHOLE, None),
        ("a", WHOLE, None),
        ("a.mp3", WHOLE, "Its name ends in .mp3 and it is WAV inside: rename it."),
    ],
)
def test_a_name_that_promises_another_format_is_a_note(tmp_path, name, content, note):
    (tmp_path / name).write_bytes(content)

    assert notes_of(measure(tmp_path / name, workers=1)) == ([] if note is None else [note])


def test_silence_of_zeros_behind_a_size_of_0_is_audio(tmp_path):
    """Zeros are no chunk: their name could not be printed."""
    path = tmp_path / "a.wav"
    path.write_bytes(with_sizes(36, 0, riff((b"fmt ", FMT), (b"data", bytes(6 * 48_000)))))

    assert measure(path, workers=1).reading.seconds == 1.0
