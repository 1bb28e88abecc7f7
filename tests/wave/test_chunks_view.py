"""Long forms that libsndfile cannot read by itself, read through a view."""

import io

import numpy as np
import pytest
import soundfile
from wave_files import FMT, IXML, LIST, bext, long_form, pcm_24, riff

from sidecar.delivery.measure.whole_file import measure
from sidecar.wave.view import view

DATA = (b"data", pcm_24(0.5))
ODD = (b"bext", bext(history=b"A=PCM"))
PLAIN = riff((b"fmt ", FMT), DATA)
EXTENSIBLE = b"\xfe\xff" + FMT[2:] + bytes.fromhex("16001800030000000100000000001000800000aa00389b71")


def frames(file):
    return soundfile.read(file, dtype="int32")[0]


@pytest.mark.parametrize(
    "content",
    [
        long_form((b"fmt ", FMT), DATA, form=b"BW64"),
        long_form(ODD, (b"fmt ", FMT), IXML, DATA, LIST),
        long_form(IXML, (b"fmt ", EXTENSIBLE), ODD, DATA, form=b"BW64"),
    ],
    ids=["BW64", "odd chunks", "both, extensible"],
)
def test_the_audio_is_that_of_the_file(tmp_path, content):
    """Sample by sample the same as in a plain WAV, read in order and from any frame."""
    (tmp_path / "long.wav").write_bytes(content)
    expected = frames(io.BytesIO(PLAIN))

    with view(tmp_path / "long.wav") as seen:
        assert np.array_equal(expected, frames(seen))
    with view(tmp_path / "long.wav") as seen, soundfile.SoundFile(seen) as file:
        file.seek(20_000)
        assert np.array_equal(expected[20_000:20_100], file.read(100, dtype="int32"))
        assert (file.samplerate, file.channels, file.subtype, file.frames) == (48_000, 2, "PCM_24", 24_000)


@pytest.mark.parametrize(
    "content",
    [
        PLAIN,
        riff(ODD, (b"fmt ", FMT), DATA),
        long_form((b"fmt ", FMT), DATA, IXML),
        long_form((b"fmt ", FMT), DATA, form=b"BW64")[:-100],
        b"fLaC" + bytes(50),
        b"",
    ],
    ids=["plain", "odd in RIFF", "odd behind the audio", "cut off", "not a wave", "empty"],
)
def test_what_libsndfile_reads_or_refuses_itself_is_left_to_it(tmp_path, content):
    """No view, and no file left open."""
    (tmp_path / "file.wav").write_bytes(content)

    assert view(tmp_path / "file.wav") is None


@pytest.mark.parametrize("form", [b"BW64", b"RF64"])
def test_what_the_library_cannot_read_is_measured_all_the_same(tmp_path, form):
    """A long form behind an odd chunk reads the level of the plain file with the same samples."""
    tone = pcm_24(0.1)
    (tmp_path / "plain.wav").write_bytes(riff((b"fmt ", FMT), (b"data", tone)))
    (tmp_path / "long.wav").write_bytes(long_form(ODD, (b"fmt ", FMT), (b"data", tone), form=form))
    plain, long = (measure(tmp_path / name).reading for name in ("plain.wav", "long.wav"))

    assert plain.max_true_peak == long.max_true_peak
    assert plain.seconds == long.seconds > 0.0
