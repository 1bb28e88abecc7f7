"""The loudspeakers that files name: libsndfile's own table, files put together by hand, and what is in doubt.

Weights of whole files are in tests/standards/test_loudspeakers_of_files.py.
"""

import io
import json
import struct

import numpy as np
import pytest
import soundfile

from sidecar.cli import main
from sidecar.delivery.measure.whole_file import measure
from sidecar.journal import schema
from sidecar.meter.layouts import layout_from
from sidecar.sources.loudspeakers.named import Named, named_loudspeakers
from sidecar.sources.loudspeakers.orders import (
    CHANNEL_LABELS,
    FLAC_ORDERS,
    LAYOUT_TAGS,
    VORBIS_ORDERS,
    WAVE_MASK,
    placed,
)

RATE_HZ = 48_000
LIVE = ("--pace", "fast", "--no-screen", "--osc-port", "0")
_GET_CHANNEL_MAP = 0x1100
"""SFC_GET_CHANNEL_MAP_INFO of sndfile.h, from memory."""
LIBRARY_NAMES = dict(
    enumerate(
        (
            *("M", "L", "R", "C", "L", "R", "C", "Cs", "BL", "BR", "LFE", "Lc", "Rc", "SL", "SR"),
            *("Ts", "Ltf", "Rtf", "Ctf", "Ltb", "Rtb", "Ctb"),
        ),
        start=1,
    )
)
"""SF_CHANNEL_MAP_MONO and on of sndfile.h, by our names."""
KNOWN_TO_THE_LIBRARY = 29
"""Layout tags for which libsndfile 1.2.2 has a map."""


def mapped_by_the_library(path):
    """The channel map that libsndfile reads from the file; None where it has none."""
    with soundfile.SoundFile(path) as file:
        numbers = soundfile._ffi.new("int[]", file.channels)
        size = soundfile._ffi.sizeof(numbers)
        if not soundfile._snd.sf_command(file._file, _GET_CHANNEL_MAP, numbers, size):
            return None
        return tuple(LIBRARY_NAMES[number] for number in numbers)


def named(path):
    with path.open("rb") as file:
        return named_loudspeakers(file, soundfile.info(str(path)).channels)


def caf(channels, chan):
    """A CAF file with that chunk in front of its audio."""
    desc = struct.pack(">d4sIIIII", RATE_HZ, b"lpcm", 0, 2 * channels, 1, channels, 16)
    audio = bytes(4 + 2 * channels * 100)
    chunks = ((b"desc", desc), (b"chan", chan), (b"data", audio))
    body = b"".join(name + struct.pack(">q", len(content)) + content for name, content in chunks)
    return b"caff\0\1\0\0" + body


def aiff(channels, *chunks):
    rate = bytes.fromhex("400ebb80000000000000")
    comm = (b"COMM", struct.pack(">hIh", channels, 100, 16) + rate)
    ssnd = (b"SSND", bytes(8 + 2 * channels * 100))
    body = b"".join(
        name + struct.pack(">I", len(content)) + content for name, content in (comm, *chunks, ssnd)
    )
    return b"FORM" + struct.pack(">I", 4 + len(body)) + b"AIFF" + body


def test_every_position_that_a_format_names_has_a_place():
    orders = (*FLAC_ORDERS.values(), *VORBIS_ORDERS.values(), *LAYOUT_TAGS.values())
    for order in (*orders, WAVE_MASK, tuple(CHANNEL_LABELS.values())):
        assert layout_from(",".join(placed(order))).channels == len(order)


def test_layout_tags_are_those_of_libsndfile(tmp_path):
    """Those that it knows; the rest is from memory."""
    path, known = tmp_path / "a.caf", 0
    for tag, order in LAYOUT_TAGS.items():
        path.write_bytes(caf(len(order), struct.pack(">III", tag, 0, 0)))
        theirs = mapped_by_the_library(path)
        known += theirs is not None
        assert theirs in (None, order), f"tag {tag >> 16}"
        assert named(path).positions == placed(order)

    assert known == KNOWN_TO_THE_LIBRARY


@pytest.mark.parametrize("bit", range(18))
def test_bits_of_a_channel_mask_are_those_of_libsndfile(tmp_path, bit):
    """A mono WAV for each bit."""
    path = tmp_path / "a.wav"
    soundfile.write(path, np.zeros((100, 1)), RATE_HZ, format="WAVEX")
    content = bytearray(path.read_bytes())
    struct.pack_into("<I", content, content.index(b"fmt ") + 8 + 20, 1 << bit)
    path.write_bytes(content)

    assert placed(mapped_by_the_library(path)) == named(path).positions


@pytest.mark.parametrize("container", ["WAVEX", "RF64"])
@pytest.mark.parametrize("channels", [2, 4, 6, 8])
def test_masks_that_libsndfile_writes_are_read_as_it_reads_them(tmp_path, container, channels):
    path = tmp_path / "a.wav"
    soundfile.write(path, np.zeros((100, channels)), RATE_HZ, format=container)

    assert named(path) == Named(placed(mapped_by_the_library(path)))


def test_labels_and_masks_of_a_channel_chunk(tmp_path):
    """One by one, as a mask, and by a tag; in CAF and in AIFF."""
    labels = struct.pack(">III", 0, 0, 4) + b"".join(
        struct.pack(">II3f", label, 0, 0, 0, 0) for label in (33, 3, 4, 5)
    )
    for chan, channels, expected in (
        (labels, 4, ("Lrs", "C", "LFE", "Ls")),
        (struct.pack(">III", 1 << 16, 0x33, 0), 4, ("L", "R", "Ls", "Rs")),
        (struct.pack(">III", 1 << 16, 0x63F, 0), 8, ("L", "R", "C", "LFE", "Lrs", "Rrs", "Lss", "Rss")),
        (struct.pack(">III", 128 << 16 | 8, 0, 0), 8, ("L", "R", "C", "LFE", "Ls", "Rs", "Lrs", "Rrs")),
        (struct.pack(">III", 138 << 16 | 5, 0, 0), 5, ("L", "R", "Ls", "Rs", "LFE")),
    ):
        assert named_loudspeakers(io.BytesIO(caf(channels, chan)), channels) == Named(expected)
        assert named_loudspeakers(io.BytesIO(aiff(channels, (b"CHAN", chan))), channels) == Named(expected)


def test_w64_has_the_same_mask(tmp_path):
    """libsndfile writes it without one: the extensible format is put in by hand."""
    path = tmp_path / "a.w64"
    soundfile.write(path, np.zeros((100, 4)), RATE_HZ, subtype="PCM_16")
    assert named(path) == Named()
    content = path.read_bytes()
    fmt = content.index(b"fmt ")
    pcm = struct.pack("<H", 1) + bytes.fromhex("000000001000800000aa00389b71")
    extensible = b"\xfe\xff" + content[fmt + 26 : fmt + 40] + struct.pack("<HHI", 22, 16, 0x33) + pcm
    size = int.from_bytes(content[fmt + 16 : fmt + 24], "little")
    chunk = content[fmt : fmt + 16] + struct.pack("<Q", 24 + len(extensible)) + extensible
    path.write_bytes(content[:fmt] + chunk + content[fmt + size :])

    assert named(path) == Named(("L", "R", "Ls", "Rs"))


@pytest.mark.parametrize("encoding", ["VORBIS", "OPUS"])
@pytest.mark.parametrize("channels", [1, 2, 3, 4, 5, 6, 7, 8])
def test_lossy_formats_have_orders_of_their_own(tmp_path, encoding, channels):
    """The order of 5.1 puts the centre second and the LFE last (Vorbis I §4.3.9, RFC 7845 §5.1.1.2)."""
    path = tmp_path / "a.ogg"
    soundfile.write(path, np.zeros((4800, channels)), RATE_HZ, format="OGG", subtype=encoding)
    expected = {
        1: "M",
        2: "L R",
        3: "L C R",
        4: "L R Ls Rs",
        5: "L C R Ls Rs",
        6: "L C R Ls Rs LFE",
        7: "L C R Ls Rs Cs LFE",
        8: "L C R Lss Rss Lrs Rrs LFE",
    }

    assert named(path).positions == tuple(expected[channels].split())


@pytest.mark.parametrize("tag_bytes", [300, 70_000])
def test_a_flac_behind_an_id3_tag_has_its_order(tmp_path, tag_bytes):
    """Also one as long as a picture; libsndfile reads it too."""
    path = tmp_path / "a.flac"
    soundfile.write(path, np.zeros((4800, 4)), RATE_HZ)
    size = bytes(tag_bytes >> shift & 0x7F for shift in (21, 14, 7, 0))
    path.write_bytes(b"ID3\4\0\0" + size + bytes(tag_bytes) + path.read_bytes())

    assert named(path).positions == ("L", "R", "Ls", "Rs")


def opus_head(family, channels):
    head = b"OpusHead" + struct.pack("<BBHIhB", 1, channels, 312, RATE_HZ, 0, family) + bytes(30)
    return b"OggS" + bytes(22) + b"\x01" + bytes([len(head)]) + head


@pytest.mark.parametrize("family", [2, 3, 255])
def test_channels_of_opus_without_loudspeakers_name_none(family):
    """Ambisonics (RFC 8486) and channels without a meaning (RFC 7845 §5.1.1.3)."""
    assert named_loudspeakers(io.BytesIO(opus_head(1, 4)), 4).positions == ("L", "R", "Ls", "Rs")
    assert named_loudspeakers(io.BytesIO(opus_head(family, 4)), 4) == Named()


@pytest.mark.parametrize(
    "content", [b"", b"RIFF", b"fLaC", b"OggS", b"caff", b"FORM" + bytes(8), b"RIFF" + bytes(40), bytes(100)]
)
def test_what_is_no_sound_file_names_nothing(content):
    assert named_loudspeakers(io.BytesIO(content), 9) == Named()


def extensible(tmp_path, channels, mask):
    path = tmp_path / f"{channels}-{mask:x}.wav"
    frames = 0.1 * np.random.default_rng(channels).standard_normal((RATE_HZ, channels))
    soundfile.write(path, frames, RATE_HZ, format="WAVEX", subtype="PCM_24")
    content = bytearray(path.read_bytes())
    struct.pack_into("<I", content, content.index(b"fmt ") + 8 + 20, mask)
    path.write_bytes(content)
    return path


def about_layout(measured):
    return [remark.sentence for remark in measured.remarks if remark.about == "layout"]


@pytest.mark.slow
def test_a_layout_that_contradicts_the_file_is_a_note(tmp_path):
    path = extensible(tmp_path, 6, 0x137)
    by_file, asked = measure(path, workers=1), measure(path, "5.1", workers=1)

    assert (by_file.layout, by_file.layout_from) == ("L,R,C,Ls,Rs,Cs", "file")
    assert (asked.layout, asked.layout_from) == ("5.1", "--layout")
    assert about_layout(by_file) == []
    assert about_layout(asked) == ["--layout 5.1 contradicts the file, which names L,R,C,Ls,Rs,Cs."]


def test_a_layout_that_says_what_the_file_says_is_none(tmp_path):
    path = extensible(tmp_path, 6, 0x3F)

    assert measure(path, workers=1).layout == "5.1"
    assert about_layout(measure(path, "L,R,C,LFE,Ls,Rs", workers=1)) == []


def test_a_file_of_several_channels_that_names_none_is_assumed_with_a_note(tmp_path):
    measured = measure(extensible(tmp_path, 6, 0), workers=1)

    assert (measured.layout, measured.layout_from) == ("5.1", "assumed")
    assert "L,R,C,LFE,Ls,Rs is assumed" in about_layout(measured)[0]
    assert about_layout(measure(extensible(tmp_path, 2, 0), workers=1)) == []


@pytest.mark.parametrize(
    ("mask", "layout", "layout_from"),
    [
        (0x3, "5.1", "assumed"),
        (0x63F, "5.1", "file"),
        (0x8000_003F, "5.1", "file"),
        (0x8000_001F, "5.1", "assumed"),
    ],
)
def test_a_mask_that_does_not_fit_the_channels_is_a_note(tmp_path, mask, layout, layout_from):
    """Bits to spare are left out, as the mask's definition says; too few name nothing."""
    measured = measure(extensible(tmp_path, 6, mask), workers=1)

    assert (measured.layout, measured.layout_from) == (layout, layout_from)
    wrong = mask.bit_count() != 6
    assert any(f"0x{mask:X} names {mask.bit_count()}" in note for note in about_layout(measured)) == wrong


def test_a_run_on_a_file_measures_with_the_loudspeakers_that_it_names(tmp_path, capsys, monkeypatch):
    """Noise in the rear of 7.1 alone: at 1.41 it would read 1.5 LU more."""
    path = extensible(tmp_path, 8, 0x63F)
    frames, _ = soundfile.read(path)
    frames[:, [0, 1, 2, 3, 6, 7]] = 0.0
    content = path.read_bytes()
    with soundfile.SoundFile(path, "r+") as file:
        file.write(frames)
    assert len(path.read_bytes()) == len(content)
    main(["check", "--json", str(path)])
    checked = json.loads(capsys.readouterr().out)[0]["integrated_lufs"]
    main(["live", "--file", str(path), *LIVE, "--json", "--no-record"])
    readings = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    heard = [line["integrated_lufs"] for line in readings if line["type"] == "reading"][-1]

    assert heard == checked


@pytest.mark.parametrize(
    ("mask", "asked", "layout", "layout_from"),
    [(0x33, [], "L,R,Ls,Rs", "file"), (0x33, ["--layout", "L,R,C,LFE"], "L,R,C,LFE", "--layout")],
)
def test_the_record_of_a_pass_says_where_its_layout_came_from(
    tmp_path, capsys, monkeypatch, mask, asked, layout, layout_from
):
    monkeypatch.setattr(schema, "data_folder", lambda: tmp_path)
    path = extensible(tmp_path, 4, mask)
    main(["live", "--file", str(path), *LIVE, *asked])
    capsys.readouterr()
    main(["passes", "--json"])
    (kept,) = json.loads(capsys.readouterr().out)

    assert (kept["layout"], kept["layout_from"]) == (layout, layout_from)
