"""Sound files as a source: every frame, at the right time, and damage said aloud."""

import threading

import numpy as np
import pytest
import soundfile

from sidecar.errors import SourceError
from sidecar.sources.file import FileSource

RATE_HZ = 48_000


@pytest.fixture
def programme():
    return (np.random.default_rng(1).standard_normal((RATE_HZ * 3, 2)) * 0.1).astype(np.float32)


def written(path, frames, **options):
    soundfile.write(path, frames, RATE_HZ, **options)
    return path


class Clock:
    """A clock that only waiting moves, each wait a little longer than asked."""

    def __init__(self, late_s: float = 0.0) -> None:
        self.now_s = 100.0
        self._late_s = late_s

    def __call__(self) -> float:
        return self.now_s

    def wait(self, seconds: float) -> None:
        self.now_s += seconds + self._late_s


@pytest.mark.parametrize("subtype", ["FLOAT", "DOUBLE"])
@pytest.mark.parametrize("block_frames", [1000, 4800, 65_536])
def test_every_frame_comes_once_and_unchanged(tmp_path, programme, subtype, block_frames):
    """Float files pass through bit for bit, doubles with all their digits, at any block size."""
    exact = programme if subtype == "FLOAT" else programme.astype(np.float64) * 1.1
    path = written(tmp_path / "mix.wav", exact, subtype=subtype)
    blocks = [b.frames for b in FileSource(path, pace="fast", block_frames=block_frames).blocks()]

    assert {exact.dtype} == {frames.dtype for frames in blocks}
    assert np.array_equal(exact, np.concatenate(blocks))


def test_blocks_belong_to_the_receiver(tmp_path, programme):
    """A block is still what it was when the next ones have come."""
    blocks = [
        b.frames
        for b in FileSource(written(tmp_path / "a.wav", programme, subtype="FLOAT"), pace="fast").blocks()
    ]
    blocks[1][:] = 9.0

    assert np.array_equal(programme[:4800], blocks[0])
    assert np.array_equal(programme[9600:14_400], blocks[2])


def test_a_file_knows_its_name_rate_width_and_length(tmp_path, programme):
    """The facts are there before the first block."""
    source = FileSource(written(tmp_path / "Näme mix.flac", programme))

    assert (
        source.title,
        source.rate_hz,
        source.channels,
        source.duration_s,
    ) == ("Näme mix.flac", RATE_HZ, 2, 3.0)
    source.close()


def test_real_pace_gives_each_block_when_it_would_have_played(tmp_path, programme):
    """However late the waits end, block n is due n blocks after the start: lateness does not add up."""
    clock = Clock(late_s=0.03)
    source = FileSource(written(tmp_path / "a.wav", programme), now=clock, wait=clock.wait)
    given_s = [clock.now_s for _ in source.blocks()]

    assert given_s == pytest.approx([100.13 + 0.1 * block for block in range(30)])


def test_real_pace_never_waits_longer_than_a_tenth_of_a_second(tmp_path):
    """Low rates and large blocks still leave the receiver free ten times a second."""
    path = tmp_path / "slow.wav"
    soundfile.write(path, np.zeros(8000), 8000)
    clock = Clock()
    source = FileSource(path, block_frames=65_536, now=clock, wait=clock.wait)

    assert {len(block.frames) for block in source.blocks()} == {800}


def test_after_an_interruption_the_pace_catches_up(tmp_path, programme):
    """A receiver that was busy for a second gets what has become due at once."""
    clock = Clock()
    source = FileSource(written(tmp_path / "a.wav", programme), now=clock, wait=clock.wait)
    blocks = source.blocks()
    next(blocks)
    clock.now_s += 1.0
    given_s = [clock.now_s for _ in blocks]

    assert given_s == pytest.approx([101.1] * 10 + [101.1 + 0.1 * block for block in range(1, 20)])


def test_fast_pace_never_waits(tmp_path, programme):
    """A file check must not ask the clock to pass."""

    def wait(seconds: float) -> None:
        raise AssertionError("waited")

    source = FileSource(written(tmp_path / "a.wav", programme), pace="fast", wait=wait)

    assert len(programme) == sum(len(block.frames) for block in source.blocks())


def test_closing_interrupts_a_wait(tmp_path):
    """Closed from another thread, a source in its real-time wait ends there and then."""
    path = tmp_path / "one.wav"
    soundfile.write(path, np.zeros(100), 8000)
    reached, times_s = threading.Event(), [0.0, 3600.0]  # the first block is due in an hour

    def now() -> float:
        if len(times_s) == 1:
            reached.set()
        return times_s.pop()

    source = FileSource(path, now=now)
    reading = threading.Thread(target=lambda: list(source.blocks()), daemon=True)
    reading.start()
    assert reached.wait(30.0)
    source.close()
    source.close()
    reading.join(30.0)

    assert not reading.is_alive()


@pytest.mark.parametrize("suffix", ["wav", "aiff", "flac", "w64", "rf64"])
def test_a_file_cut_off_in_the_middle_is_refused_at_the_cut(tmp_path, programme, suffix):
    """Half a file must not pass as a short one: what is there comes, then an error with the second."""
    whole = written(tmp_path / f"whole.{suffix}", programme, subtype="PCM_24")
    half = tmp_path / f"half.{suffix}"
    half.write_bytes(whole.read_bytes()[: whole.stat().st_size // 2])
    frames = 0

    with pytest.raises(SourceError, match=r"half\.\w+ is (damaged|cut off).* 1\.[345] s"):
        for block in FileSource(half, pace="fast", block_frames=1000).blocks():
            frames += len(block.frames)
    assert frames == pytest.approx(1.45 * RATE_HZ, abs=0.1 * RATE_HZ)


def test_an_mp3_cut_off_in_the_middle_is_refused(tmp_path, programme):
    """MPEG streams end silently where they are cut; the count in their head gives it away."""
    whole = written(tmp_path / "whole.mp3", programme)
    half = tmp_path / "half.mp3"
    half.write_bytes(whole.read_bytes()[: whole.stat().st_size // 2])

    with pytest.raises(SourceError, match=r"damaged.* of 3\.0 s"):
        list(FileSource(half, pace="fast").blocks())


def test_a_wave_file_written_to_a_pipe_is_whole(tmp_path, programme):
    """Who writes to a pipe cannot know the length and fills in the largest number: no damage."""
    path = written(tmp_path / "pipe.wav", programme, subtype="PCM_16")
    data = bytearray(path.read_bytes())
    at = data.index(b"data") + 4
    data[4:8] = data[at : at + 4] = b"\xff\xff\xff\xff"
    path.write_bytes(data)

    assert len(programme) == sum(len(b.frames) for b in FileSource(path, pace="fast").blocks())


def test_a_flac_without_a_length_is_refused_in_words(tmp_path, programme):
    """The decoder cannot find the end of such a file, so part of it would be missing."""
    path = written(tmp_path / "pipe.flac", programme)
    data = bytearray(path.read_bytes())
    data[21] &= 0xF0  # total samples: the low 36 bits of bytes 18 to 25 (RFC 9639 §8.2)
    data[22:26] = bytes(4)
    path.write_bytes(data)

    with pytest.raises(SourceError, match="does not tell how long it is"):
        FileSource(path)


@pytest.mark.parametrize(
    ("name", "content", "message"),
    [
        ("missing.wav", None, "There is no file .*missing.wav"),
        ("text.wav", b"not audio at all" * 100, "text.wav is not audio"),
        ("headerless.raw", b"\0\1" * 1000, "headerless.raw is not audio"),
        ("blank.wav", b"", "blank.wav is empty"),
    ],
)
def test_what_is_not_a_sound_file_is_refused_in_words(tmp_path, name, content, message):
    """The message names the file and what is the matter with it."""
    if content is not None:
        (tmp_path / name).write_bytes(content)

    with pytest.raises(SourceError, match=message):
        FileSource(tmp_path / name)


def test_a_file_without_frames_is_empty(tmp_path):
    """A header alone cannot be measured."""
    with pytest.raises(SourceError, match="is empty"):
        FileSource(written(tmp_path / "none.wav", np.zeros((0, 2))))


def test_a_folder_is_refused(tmp_path):
    """Naming a folder by mistake is not reported as a broken file."""
    with pytest.raises(SourceError, match="is a folder"):
        FileSource(tmp_path)


def test_a_halted_file_stays_where_it_is_and_goes_on_at_its_pace(tmp_path, programme):
    clock = Clock()
    source = FileSource(written(tmp_path / "a.wav", programme), now=clock, wait=clock.wait)
    blocks = source.blocks()
    next(blocks)
    left_s, began_s = source.left_s, clock.now_s

    source.halt()
    halted = [len(next(blocks).frames) for _ in range(20)]
    left_halted_s, waited_s = source.left_s, clock.now_s - began_s
    source.go_on()
    resumed_s = clock.now_s
    rest = [block.frames for block in blocks]

    assert (sum(halted), left_halted_s) == (0, left_s)
    assert waited_s == pytest.approx(2.0)
    assert sum(map(len, rest)) == len(programme) - 4800
    assert clock.now_s - resumed_s == pytest.approx(2.9, abs=0.11)
    assert source.left_s == 0.0
