"""Copies at another gain: the same file in everything but its level."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile
from wave_files import CUE, FMT, IXML, JUNK_FOR_DS64, LIST, bext, long_form, pcm_24, riff, taken_apart

from sidecar.delivery.match.render import render
from sidecar.delivery.measure.whole_file import measure
from sidecar.errors import SourceError
from sidecar.wave.bext import Claimed, read_loudness

RATE_HZ = 48_000
DATA = (b"data", pcm_24(4.0))
KILLED_RENDERS = Path(__file__).with_name("killed_renders.py")


def noise(seconds=4.0, channels=2, level=0.1):
    rng = np.random.default_rng(7)
    return rng.uniform(-level, level, (round(seconds * RATE_HZ), channels))


def steps(path, bits):
    """The samples as whole numbers of *bits*."""
    frames, _ = soundfile.read(path, dtype="int32", always_2d=True)
    return frames >> (32 - bits)


@pytest.fixture
def out(tmp_path):
    (tmp_path / "out").mkdir()
    return tmp_path / "out"


OLD = bext(loudness=(-100,) * 5, history=b"A=PCM,W=24\r\n")
KEPT = {
    # libsndfile 1.2.2 does not find the audio of an RF64 file behind a chunk of odd size.
    "RIFF": (riff, (IXML, (b"bext", OLD), (b"fmt ", FMT), CUE, DATA, LIST)),
    "RF64": (long_form, ((b"bext", OLD), (b"fmt ", FMT), CUE, DATA, IXML, LIST)),
}


@pytest.mark.parametrize(("build", "chunks"), KEPT.values(), ids=KEPT)
def test_a_wave_keeps_every_chunk_but_its_samples_and_its_loudness(tmp_path, out, build, chunks):
    """Order, odd sizes and padding stay; the coding history gets one line (EBU R 98, from memory)."""
    source = tmp_path / "mix.wav"
    source.write_bytes(build(*chunks))
    measured = render(source, out / "mix.wav", -6.0).measured

    content = (out / "mix.wav").read_bytes()
    new = dict(taken_apart(content))
    line = b"A=PCM,F=48000,W=24,M=stereo,T=gain -6.00 dB; TPDF dither\r\n"
    assert build(*chunks) == source.read_bytes()
    assert new[b"bext"] == OLD[:412] + new[b"bext"][412:422] + OLD[422:] + line
    expected = [(name, new[name] if name in {b"bext", b"data"} else kept) for name, kept in chunks]
    assert build(*expected) == content
    assert Claimed.from_reading(measured.reading) == read_loudness(out / "mix.wav")
    assert len(DATA[1]) == len(new[b"data"])


def test_a_wave_without_loudness_fields_is_given_them(tmp_path, out):
    """The room for ds64 stays in front."""
    source = tmp_path / "mix.wav"
    source.write_bytes(riff(JUNK_FOR_DS64, (b"fmt ", FMT), DATA, LIST))
    measured = render(source, out / "mix.wav", 1.5).measured

    names = [name for name, _ in taken_apart((out / "mix.wav").read_bytes())]
    assert names == [b"JUNK", b"fmt ", b"bext", b"data", b"LIST"]
    assert Claimed.from_reading(measured.reading) == read_loudness(out / "mix.wav")


def test_what_was_said_about_the_old_samples_is_left_out(tmp_path, out):
    """Peaks, overview and sum of the samples are not true any more, except without gain."""
    source = tmp_path / "mix.wav"
    source.write_bytes(
        riff((b"fmt ", FMT), (b"PEAK", bytes(24)), DATA, (b"levl", bytes(120)), (b"MD5 ", bytes(16)))
    )
    render(source, out / "moved.wav", -6.0)
    render(source, out / "same.wav", 0.0)

    moved, same = (taken_apart((out / name).read_bytes()) for name in ("moved.wav", "same.wav"))
    assert [name for name, _ in moved] == [b"fmt ", b"bext", b"data"]
    assert [name for name, _ in same] == [b"fmt ", b"PEAK", b"bext", b"data", b"levl", b"MD5 "]
    assert DATA[1] == dict(same)[b"data"]


FORMATS = [
    ("a.wav", "PCM_U8", 8),
    ("a.wav", "PCM_16", 16),
    ("a.wav", "PCM_24", 24),
    ("a.wav", "PCM_32", 32),
    ("a.rf64", "PCM_24", 24),
    ("a.w64", "PCM_24", 24),
    ("a.flac", "PCM_16", 16),
    ("a.flac", "PCM_24", 24),
    ("a.aiff", "PCM_24", 24),
    ("a.caf", "PCM_16", 16),
]


@pytest.mark.parametrize(("name", "subtype", "bits"), FORMATS)
def test_whole_numbers_are_moved_by_the_gain_and_dithered(tmp_path, out, name, subtype, bits):
    """The error against the exact gain is what triangular dither and rounding make: within 1.5 steps,
    mean 0, power of a quarter step (J. Audio Eng. Soc. 40(5), 1992, from memory: Δ²/12 of the
    rounding and 2·Δ²/12 of the dither). Format, depth, rate and width stay."""
    source = tmp_path / name
    soundfile.write(source, noise(), RATE_HZ, subtype=subtype)
    render(source, out / name, -3.3)

    old, new = soundfile.info(source), soundfile.info(out / name)
    assert [getattr(old, key) for key in ("format", "subtype", "samplerate", "channels", "frames")] == [
        getattr(new, key) for key in ("format", "subtype", "samplerate", "channels", "frames")
    ]
    error = steps(out / name, bits) - steps(source, bits) * 10 ** (-3.3 / 20)
    assert np.abs(error).max() <= 1.5
    assert error.mean() == pytest.approx(0.0, abs=0.01)
    assert error.var() == pytest.approx(0.25, rel=0.02)


def test_dither_frees_the_error_from_the_signal(tmp_path, out):
    """A tone of half a step would round to nothing; with dither it keeps its level and has no harmonics."""
    t = np.arange(RATE_HZ * 8) / RATE_HZ
    tone = 2.0**-15 * np.sin(2 * np.pi * 1000 * t)[:, None]
    dithered = np.rint(tone * 2**15 + np.random.default_rng(3).triangular(-1, 0, 1, tone.shape)) / 2**15
    soundfile.write(tmp_path / "mix.wav", dithered, RATE_HZ, subtype="PCM_16")
    render(tmp_path / "mix.wav", out / "mix.wav", -6.0)

    spectrum = np.abs(np.fft.rfft(soundfile.read(out / "mix.wav")[0])) * 2 / len(t)
    floor = np.median(spectrum)
    assert spectrum[8 * 1000] == pytest.approx(10 ** (-6 / 20) * 2.0**-15, rel=0.05)
    assert spectrum[[8 * 3000, 8 * 5000]].max() < 5 * floor


@pytest.mark.parametrize("subtype", ["FLOAT", "DOUBLE"])
def test_floating_samples_are_moved_exactly_and_not_dithered(tmp_path, out, subtype):
    """Over full scale too: nothing is clipped where nothing has to be."""
    frames = noise(level=2.0)
    soundfile.write(tmp_path / "a.wav", frames, RATE_HZ, subtype=subtype)
    render(tmp_path / "a.wav", out / "a.wav", 6.0)
    new, _ = soundfile.read(out / "a.wav")

    np.testing.assert_allclose(new, frames * 10 ** (6.0 / 20), rtol=1.2e-7)


@pytest.mark.parametrize(("name", "subtype", "bits"), FORMATS)
def test_without_gain_the_samples_are_copied(tmp_path, out, name, subtype, bits):
    """Bit for bit: nothing to do is nothing done."""
    soundfile.write(tmp_path / name, noise(), RATE_HZ, subtype=subtype)
    render(tmp_path / name, out / name, 0.0)

    assert np.array_equal(steps(tmp_path / name, bits), steps(out / name, bits))


def test_the_same_file_gives_the_same_copy_and_no_two_files_share_their_noise(tmp_path, out):
    """The dither's seed is the file's name."""
    soundfile.write(tmp_path / "a.wav", noise(), RATE_HZ, subtype="PCM_16")
    (tmp_path / "b.wav").write_bytes((tmp_path / "a.wav").read_bytes())
    for source, target in (("a.wav", "first.wav"), ("a.wav", "again.wav"), ("b.wav", "other.wav")):
        render(tmp_path / source, out / target, -3.0)
    first, again, other = (steps(out / name, 16) for name in ("first.wav", "again.wav", "other.wav"))

    assert np.array_equal(first, again)
    exact = steps(tmp_path / "a.wav", 16) * 10 ** (-3 / 20)
    assert abs(np.corrcoef((first - exact)[:, 0], (other - exact)[:, 0])[0, 1]) < 0.3  # rounding is shared


@pytest.mark.parametrize("name", ["a.flac", "a.aiff"])
def test_text_of_other_formats_is_kept(tmp_path, out, name):
    """What libsndfile knows as text: title, artist and the like."""
    with soundfile.SoundFile(tmp_path / name, "w", RATE_HZ, 2, "PCM_24") as file:
        file.title, file.artist = "Harbour", "Nobody"
        file.write(noise())
    render(tmp_path / name, out / name, -3.0)

    with soundfile.SoundFile(out / name) as copy:
        assert (copy.title, copy.artist) == ("Harbour", "Nobody")


@pytest.mark.parametrize("channels", [1, 6])
def test_any_width_is_rendered(tmp_path, out, channels):
    """Mono and 5.1 land as measured before, moved by the gain."""
    soundfile.write(tmp_path / "a.wav", noise(channels=channels), RATE_HZ, subtype="PCM_24")
    before = measure(tmp_path / "a.wav").reading.integrated
    landed = render(tmp_path / "a.wav", out / "a.wav", 2.5).measured.reading.integrated

    assert landed == pytest.approx(before + 2.5, abs=0.005)


def test_permissions_are_those_of_the_original(tmp_path, out):
    """A copy is readable to whom the original was."""
    soundfile.write(tmp_path / "a.wav", noise(), RATE_HZ)
    (tmp_path / "a.wav").chmod(0o640)
    render(tmp_path / "a.wav", out / "a.wav", -1.0)

    assert (out / "a.wav").stat().st_mode & 0o777 == 0o640


@pytest.mark.parametrize(
    ("name", "subtype"), [("a.ogg", "VORBIS"), ("a.mp3", "MPEG_LAYER_III"), ("a.wav", "ULAW")]
)
def test_audio_that_was_coded_with_loss_is_refused(tmp_path, out, name, subtype):
    """A second coding would change more than the gain; nothing is left in the folder."""
    soundfile.write(tmp_path / name, noise(), RATE_HZ, subtype=subtype)

    with pytest.raises(SourceError, match=f"coded as {subtype}"):
        render(tmp_path / name, out / name, -1.0)
    assert list(out.iterdir()) == []


def test_a_copy_that_does_not_come_to_its_end_leaves_nothing(tmp_path, out):
    """Whatever stops it, at any share done: an earlier copy stays, nothing else is in the folder."""

    class Enough(Exception):
        pass

    def stop_at(share):
        def told(done):
            if done >= share:
                raise Enough

        return told

    soundfile.write(tmp_path / "a.wav", noise(), RATE_HZ)
    (out / "a.wav").write_bytes(b"earlier")
    for share in (0.1, 0.3, 0.5, 0.7, 1.0):
        with pytest.raises(Enough):
            render(tmp_path / "a.wav", out / "a.wav", -1.0, progress=stop_at(share))
        assert [path.read_bytes() for path in out.iterdir()] == [b"earlier"]


@pytest.mark.slow
def test_kills_leave_no_copy_or_a_whole_one(tmp_path, out):
    """Killed for real at places from the first line to the last; the next run clears what was left."""
    soundfile.write(tmp_path / "a.wav", noise(1.0), RATE_HZ, subtype="PCM_16")
    done = subprocess.run(
        [sys.executable, KILLED_RENDERS, tmp_path / "a.wav", out, "25"],
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    render(tmp_path / "a.wav", tmp_path / "whole.wav", -3.0)
    found = {(out / f"{kill:03}" / "a.wav") for kill in range(25)}

    assert done.stdout == "25 killed\n"
    assert {(tmp_path / "whole.wav").read_bytes()} >= {path.read_bytes() for path in found if path.exists()}
    for path in found:
        render(tmp_path / "a.wav", path, -3.0)
        assert [path] == list(path.parent.iterdir())
