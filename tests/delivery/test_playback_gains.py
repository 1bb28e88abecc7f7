"""Gains for players in the tags of a file: left out of a copy at another gain, and nothing else with them."""

import struct

import numpy as np
import pytest
import soundfile
from wave_files import FMT, pcm_24, riff, taken_apart

from sidecar.delivery.match.playback_gains import without_comment_gains, without_id3_gains
from sidecar.delivery.match.render import render


def sevens(number):
    return bytes(number >> shift & 0x7F for shift in (21, 14, 7, 0))


def frame(name, content, version):
    size = sevens(len(content)) if version == 4 else struct.pack(">I", len(content))
    return name + size + b"\0\0" + content


def id3(frames, version, padding=20, flags=0):
    """ID3v2.3 and 2.4 (from memory): a tag's size, and in 2.4 a frame's, in four times seven bits."""
    body = b"".join(frame(name, content, version) for name, content in frames) + bytes(padding)
    return b"ID3" + bytes([version, 0, flags]) + sevens(len(body)) + body


TITLE = (b"TIT2", b"\3Harbour")
PICTURE = (b"APIC", b"\0image/png\0\3\0" + bytes(range(256)))
GAIN = (b"TXXX", b"\3replaygain_track_gain\x00-3.20 dB")
GAIN_16 = (b"TXXX", b"\1" + "REPLAYGAIN_ALBUM_PEAK\0".encode("utf-16") + "0.9".encode("utf-16"))
OTHER = (b"TXXX", b"\0catalogue\x00replaygain_track_gain")
RVA2 = (b"RVA2", b"track\0\1\xfe\0\0")


@pytest.mark.parametrize("version", [3, 4])
def test_frames_with_gains_go_and_the_length_stays(version):
    tag = id3([TITLE, GAIN, PICTURE, GAIN_16, OTHER, RVA2], version)
    changed, gone = without_id3_gains(tag)
    kept = id3([TITLE, PICTURE, OTHER], version)

    assert gone == ["tag replaygain_track_gain", "tag REPLAYGAIN_ALBUM_PEAK", "ID3 frame RVA2"]
    assert len(changed) == len(tag)
    assert changed[:10] == tag[:10]
    assert changed[10:].rstrip(b"\0") == kept[10:].rstrip(b"\0")


@pytest.mark.parametrize(
    "tag",
    [
        id3([TITLE, PICTURE, OTHER], 4),
        id3([GAIN], 4, flags=0x80),  # unsynchronised
        id3([GAIN], 3, flags=0x40),  # an extended header
        b"ID3\x02" + id3([GAIN], 3)[4:],
        id3([GAIN], 3)[:30],
        b"ID3",
        b"",
    ],
)
def test_what_holds_no_gain_or_cannot_be_read_stays(tag):
    assert without_id3_gains(tag) == (tag, [])


@pytest.mark.parametrize("block", [b"", b"\xff" * 12, struct.pack("<I4sI", 4, b"libs", 9)])
def test_a_damaged_block_of_comments_stays(block):
    assert without_comment_gains(block) == (block, [])


@pytest.mark.parametrize("name", ["a.wav", "a.aiff"])
def test_a_copy_at_another_gain_has_no_gain_for_players(tmp_path, name):
    tag = id3([TITLE, GAIN, PICTURE], 4)
    (tmp_path / name).write_bytes(with_tag(tmp_path, name, tag))
    moved = render(tmp_path / name, tmp_path / "out" / name, -6.0)
    same = render(tmp_path / name, tmp_path / "same" / name, 0.0)

    assert moved.carried.left_out == ("tag replaygain_track_gain",)
    assert same.carried.left_out == ()
    assert without_id3_gains(tag)[0] in (tmp_path / "out" / name).read_bytes()
    assert b"replaygain" not in (tmp_path / "out" / name).read_bytes()
    assert tag in (tmp_path / "same" / name).read_bytes()
    assert soundfile.info(tmp_path / "out" / name).frames == soundfile.info(tmp_path / name).frames


def with_tag(tmp_path, name, tag):
    if name == "a.wav":
        content = riff((b"fmt ", FMT), (b"id3 ", tag), (b"data", pcm_24(1.0)))
        assert dict(taken_apart(content))[b"id3 "] == tag
        return content
    soundfile.write(tmp_path / "plain.aiff", np.full((48_000, 2), 0.1), 48_000, subtype="PCM_24")
    content = (tmp_path / "plain.aiff").read_bytes()
    chunk = struct.pack(">4sI", b"ID3 ", len(tag)) + tag + bytes(len(tag) % 2)
    return content[:4] + struct.pack(">I", len(content) - 8 + len(chunk)) + content[8:] + chunk
