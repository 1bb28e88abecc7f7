"""Everything that a file carries beside its samples, before and after a copy, byte for byte.

The files are built and taken apart here, with the layouts of RFC 9639 (FLAC), AIFF 1.3 and the Core Audio
Format (from memory), not with the project's code.
"""

import errno
import io
import struct

import numpy as np
import pytest
import soundfile
from wave_files import CUE, FMT, IXML, LIST, bext, pcm_24, riff, taken_apart

from sidecar.delivery.match.copy_library import CodedOutput
from sidecar.delivery.match.copy_samples import opened
from sidecar.delivery.match.render import render
from sidecar.delivery.measure.whole_file import measure
from sidecar.errors import OutputError, SourceError
from sidecar.wave.bext import Claimed
from sidecar.wave.bext_write import prepare, stamp

RATE_HZ = 48_000
IMAGE = bytes(range(256)) * 40
PICTURE = (
    struct.pack(">II10sI5s", 3, 10, b"image/jpeg", 5, b"Cover")
    + struct.pack(">5I", 64, 64, 24, 0, len(IMAGE))
    + IMAGE
)
TAGS = ("TITLE=Harbour", "ARTIST=One", "ARTIST=Two", "Comment=übung", "ENCODER=x")


def noise(seconds=3.0, level=0.1, channels=2):
    return np.random.default_rng(7).uniform(-level, level, (round(seconds * RATE_HZ), channels))


def coded(form, subtype, **options):
    """A file of noise as the library writes it."""
    file = io.BytesIO()
    soundfile.write(file, noise(), RATE_HZ, format=form, subtype=subtype, **options)
    return file.getvalue()


@pytest.fixture
def out(tmp_path):
    (tmp_path / "out").mkdir()
    return tmp_path / "out"


def copied(tmp_path, out, name, content, gain_db=-6.0):
    (tmp_path / name).write_bytes(content)
    copy = render(tmp_path / name, out / name, gain_db)
    assert (tmp_path / name).read_bytes() == content
    return (out / name).read_bytes(), copy.carried


def level_moved(tmp_path, out, name, gain_db, step):
    old, _ = soundfile.read(tmp_path / name, dtype="float64")
    new, _ = soundfile.read(out / name, dtype="float64")
    assert np.abs(new - old * 10 ** (gain_db / 20)).max() <= 1.5 * step


# FLAC


def flac_parts(content):
    """(blocks, frames): blocks as (kind, content)."""
    assert content[:4] == b"fLaC"
    place, last, blocks = 4, False, []
    while not last:
        last, kind = content[place] >> 7, content[place] & 0x7F
        size = int.from_bytes(content[place + 1 : place + 4], "big")
        blocks.append((kind, content[place + 4 : place + 4 + size]))
        place += 4 + size
    return blocks, content[place:]


def flac_of(blocks, frames):
    head = b"".join(
        bytes([kind | (0x80 if number == len(blocks) - 1 else 0)]) + len(block).to_bytes(3, "big") + block
        for number, (kind, block) in enumerate(blocks)
    )
    return b"fLaC" + head + frames


def comments(tags):
    texts = [b"a vendor", *(tag.encode() for tag in tags)]
    sized = [struct.pack("<I", len(text)) + text for text in texts]
    return sized[0] + struct.pack("<I", len(tags)) + b"".join(sized[1:])


def frame_at(frames, number):
    """Where the frame of this number begins (RFC 9639 §9.1: sync code, two bytes, the number)."""
    head, place = b"\xff\xf8", -1
    while True:
        place = frames.index(head, place + 1)
        if frames[place + 4 : place + 5] == bytes([number]) and frames[place + 2 : place + 3] == frames[2:3]:
            return place


def seek_table(frames):
    """Points at every 12th frame and a placeholder (RFC 9639 §8.5)."""
    points = [(4096 * number, frame_at(frames, number), 4096) for number in (0, 12, 24)]
    return b"".join(struct.pack(">QQH", *point) for point in (*points, (2**64 - 1, 0, 0)))


def tagged_flac(tags=TAGS):
    blocks, frames = flac_parts(coded("FLAC", "PCM_16"))
    cue = bytes(128) + struct.pack(">QB258xB", 0, 0, 1) + struct.pack(">QB12sB13xB", 144_000, 255, b"", 0, 0)
    other = PICTURE.replace(b"Cover", b"Label")
    extra = [(4, comments(tags)), (6, PICTURE), (6, other), (2, b"riff" + b"kept"), (5, cue), (1, bytes(99))]
    return flac_of([blocks[0], (3, seek_table(frames)), *extra], frames)


@pytest.mark.parametrize("gain_db", [-6.0, 0.0])
def test_a_flac_keeps_every_block_and_its_seek_points_find_their_frames(tmp_path, out, gain_db):
    source = tagged_flac()
    content, carried = copied(tmp_path, out, "a.flac", source, gain_db)

    (old, _), (new, frames) = flac_parts(source), flac_parts(content)
    assert [kind for kind, _ in new] == [0, 3, 4, 6, 6, 2, 5, 1]
    assert new[2:] == old[2:]
    assert new[0][1][10:18] == old[0][1][10:18]  # rate, channels, depth and number of samples
    assert new[1][1] == seek_table(frames)
    assert (carried.left_out, carried.lost) == ((), ())
    level_moved(tmp_path, out, "a.flac", gain_db, 2.0**-15)


def test_id3_tags_around_a_flac_are_kept(tmp_path, out):
    front = b"ID3\x04\x00\x00" + bytes([0, 0, 1, 2]) + b"T" * 130
    content, _ = copied(tmp_path, out, "a.flac", front + tagged_flac() + b"TAG" + b"x" * 125)

    assert content.startswith(front + b"fLaC")
    assert content.endswith(b"TAG" + b"x" * 125)


def test_tags_with_gains_for_players_are_left_out_of_a_moved_flac_and_listed(tmp_path, out):
    gains = ("REPLAYGAIN_TRACK_GAIN=-3.20 dB", "replaygain_track_peak=0.98", "R128_TRACK_GAIN=-512")
    source = tagged_flac((*TAGS[:2], *gains, *TAGS[2:]))
    moved, carried = copied(tmp_path, out, "a.flac", source)
    same, kept = copied(tmp_path, out, "b.flac", source, 0.0)

    assert dict(flac_parts(moved)[0])[4] == comments(TAGS)
    assert carried.left_out == tuple(f"tag {tag.partition('=')[0]}" for tag in gains)
    assert flac_parts(same)[0][2:] == flac_parts(source)[0][2:]
    assert kept.left_out == ()


# AIFF, CAF, W64, AU: chunks


def aiff_chunks(content):
    assert struct.unpack(">4sI", content[:8]) == (b"FORM", len(content) - 8)
    place = 12
    while place < len(content):
        name, size = struct.unpack_from(">4sI", content, place)
        yield name, content[place + 8 : place + 8 + size]
        place += 8 + size + size % 2


def with_aiff_chunks(content, before, behind):
    body = content[12:]
    front, back = (
        b"".join(struct.pack(">4sI", name, len(text)) + text + bytes(len(text) % 2) for name, text in chunks)
        for chunks in (before, behind)
    )
    return b"FORM" + struct.pack(">I", 4 + len(front + body + back)) + content[8:12] + front + body + back


AIFF_FRONT = ((b"NAME", b"Harbour"), (b"ANNO", b"first"), (b"ANNO", b"second"))
AIFF_BACK = (
    (b"MARK", bytes(range(77))),
    (b"INST", bytes(20)),
    (b"ID3 ", b"ID3\x03\0\0" + PICTURE),
    (b"APPL", b"x"),
)


@pytest.mark.parametrize(
    ("subtype", "options", "step"),
    [
        ("PCM_S8", {}, 2.0**-7),
        ("PCM_16", {}, 2.0**-15),
        ("PCM_24", {}, 2.0**-23),
        ("FLOAT", {}, 1e-7),
        ("PCM_24", {"endian": "LITTLE"}, 2.0**-23),
        ("PCM_U8", {}, 2.0**-7),
    ],
)
def test_an_aiff_keeps_every_chunk(tmp_path, out, subtype, options, step):
    """AIFF-C with little-endian, floating and unsigned samples too; of floating ones no peaks are kept."""
    source = with_aiff_chunks(coded("AIFF", subtype, **options), AIFF_FRONT, AIFF_BACK)
    content, carried = copied(tmp_path, out, "a.aiff", source)

    old, new = ([c for c in aiff_chunks(it) if c[0] not in {b"SSND", b"PEAK"}] for it in (source, content))
    assert new == old
    assert {name for name, _ in AIFF_FRONT + AIFF_BACK} < {name for name, _ in new}
    assert carried.left_out == (("PEAK chunk",) if subtype == "FLOAT" else ())
    level_moved(tmp_path, out, "a.aiff", -6.0, step)


def caf_chunks(content):
    place = 8
    while place + 12 <= len(content):  # the library leaves a byte behind coded audio
        name, size = struct.unpack_from(">4sq", content, place)
        yield name, content[place + 12 : place + 12 + size]
        place += 12 + size


def with_caf_chunks(content, extra):
    chunks = [*caf_chunks(content)]
    at = [name for name, _ in chunks].index(b"data")
    return content[:8] + b"".join(
        struct.pack(">4sq", name, len(text)) + text for name, text in (*chunks[:at], *extra, *chunks[at:])
    )


CAF_EXTRA = (
    (b"info", struct.pack(">I", 2) + b"title\0Harbour\0artist\0One\0"),
    (b"strg", bytes(30)),
    (b"mark", bytes(range(41))),
    (b"uuid", bytes(16) + PICTURE),
    (b"uuid", bytes(16) + b"second"),
)


@pytest.mark.parametrize(
    ("subtype", "options", "step"),
    [
        ("PCM_16", {}, 2.0**-15),
        ("PCM_24", {"endian": "LITTLE"}, 2.0**-23),
        ("FLOAT", {}, 1e-7),
        ("ALAC_16", {}, 2.0**-15),
        ("ALAC_24", {}, 2.0**-23),
    ],
)
def test_a_caf_keeps_every_chunk_and_alac_is_written(tmp_path, out, subtype, options, step):
    source = with_caf_chunks(coded("CAF", subtype, **options), CAF_EXTRA)
    content, carried = copied(tmp_path, out, "a.caf", source)

    of_the_audio = {b"data", b"pakt", b"kuki", b"peak"}
    old, new = ([c for c in caf_chunks(it) if c[0] not in of_the_audio] for it in (source, content))
    assert new == old
    assert [chunk for chunk in new if chunk[0] in {b"info", b"strg", b"mark", b"uuid"}] == [*CAF_EXTRA]
    assert carried.lost == ()
    assert soundfile.info(tmp_path / "a.caf").subtype == soundfile.info(out / "a.caf").subtype == subtype
    level_moved(tmp_path, out, "a.caf", -6.0, step)


def test_a_coding_that_the_library_writes_wrongly_is_refused(tmp_path, out):
    """libsndfile 1.2.2 gives other samples for ALAC of 20 bits than it was given."""
    (tmp_path / "a.caf").write_bytes(coded("CAF", "ALAC_20"))

    with pytest.raises(
        SourceError, match="CAF with ALAC_20 cannot be written here: the library writes other"
    ):
        render(tmp_path / "a.caf", out / "a.caf", -6.0)
    assert [*out.iterdir()] == []


def test_an_identifier_of_the_material_is_not_copied_into_other_audio(tmp_path, out):
    source = with_caf_chunks(coded("CAF", "PCM_16"), ((b"umid", bytes(range(64))),))
    moved, carried = copied(tmp_path, out, "a.caf", source)
    same, kept = copied(tmp_path, out, "b.caf", source, 0.0)

    assert b"umid" not in dict(caf_chunks(moved))
    assert carried.left_out == ("UMID",)
    assert (same, kept.left_out) == (source, ())


def test_w64_and_au_change_in_their_samples_alone(tmp_path, out):
    """A marker in front of the audio and text in the header stay."""
    guid = b"mark" + bytes.fromhex("f3acd311 8cd100c0 4f8edb8a")
    marker = guid + struct.pack("<Q", 24 + 13) + b"thirteen byte" + bytes(3)
    plain = coded("W64", "PCM_24")
    content = bytearray(plain[:80] + marker + plain[80:])
    content[16:24] = struct.pack("<Q", len(content))
    au = coded("AU", "PCM_16")
    place, _ = struct.unpack_from(">II", au, 4)
    text = b"taken in the harbour"
    annotated = au[:4] + struct.pack(">I", place + len(text)) + au[8:place] + text + au[place:]
    for name, source, step in (("a.w64", bytes(content), 2.0**-23), ("a.au", annotated, 2.0**-15)):
        copy, carried = copied(tmp_path, out, name, source)
        samples = len(noise()) * 2 * (3 if name == "a.w64" else 2)
        at = source.index(coded(name[2:].upper(), "PCM_24" if name == "a.w64" else "PCM_16")[-samples:])
        assert copy[:at] == source[:at]
        assert copy[at + samples :] == source[at + samples :]
        assert carried.left_out == ()
        level_moved(tmp_path, out, name, -6.0, step)


def test_what_cannot_be_kept_is_listed(tmp_path, out):
    soundfile.write(tmp_path / "a.voc", noise(), RATE_HZ, format="VOC", subtype="PCM_16")
    copy = render(tmp_path / "a.voc", out / "a.voc", -6.0)

    assert copy.carried.lost == ("what a VOC file carries besides its title and other plain text",)


def test_samples_are_written_only_where_the_old_ones_prove_their_place_and_coding(tmp_path):
    content = coded("AIFF", "PCM_24")
    (tmp_path / "a.aiff").write_bytes(content)
    stored = content[content.index(b"SSND") + 16 :][:6000]

    with opened(tmp_path / "a.aiff", -6.0, lambda _share: None) as samples:
        samples.refuse_other_packing(stored, "BIG")
        for other, order in ((stored, "LITTLE"), (stored[1:] + b"x", "BIG")):
            with pytest.raises(SourceError, match="sample format cannot be copied"):
                samples.refuse_other_packing(other, order)


def test_a_full_disk_is_said_of_the_copy(tmp_path, out, monkeypatch):
    soundfile.write(tmp_path / "a.flac", noise(), RATE_HZ)

    def full(_self, _content):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(CodedOutput, "_written", full)
    with pytest.raises(OutputError, match=r"its copy .*out/a.flac cannot be written \(No space left"):
        render(tmp_path / "a.flac", out / "a.flac", -6.0)
    assert [*out.iterdir()] == []


# WAV


def wave_with_everything():
    chunks = (
        (b"bext", bext(umid=bytes(range(1, 65)), loudness=(-100,) * 5)),
        (b"fmt ", FMT),
        CUE,
        (b"id3 ", b"ID3\x03\0\0" + PICTURE),
        (b"data", pcm_24(4.0)),
        IXML,
        LIST,
        (b"LIST", b"adtlnote" + struct.pack("<II", 5, 1) + b"A" * 6),
        (b"axml", b"<a/>"),
        (b"PEAK", bytes(24)),
        (b"zzzz", b"unknown"),
    )
    return riff(*chunks, tail=b"behind")


def test_a_copy_of_a_wave_keeps_every_chunk_and_no_identifier_of_the_material(tmp_path, out):
    source = wave_with_everything()
    moved, carried = copied(tmp_path, out, "a.wav", source)
    same, kept = copied(tmp_path, out, "b.wav", source, 0.0)

    old, new, unmoved = (
        [c for c in taken_apart(content) if c[0] not in {b"bext", b"data"}]
        for content in (source, moved, same)
    )
    assert new == [chunk for chunk in old if chunk[0] != b"PEAK"]
    assert unmoved == old
    assert all(content.endswith(b"behind") for content in (moved, same))
    before, after, zero = (dict(taken_apart(content))[b"bext"] for content in (source, moved, same))
    assert after[:348] == zero[:348] == before[:348]
    assert after[348:412] == bytes(64)
    assert zero[348:412] == before[348:412]
    assert after[422 : len(before)] == before[422:]
    assert (carried.left_out, kept.left_out) == (("UMID", "PEAK chunk"), ())


def test_a_stamp_changes_five_fields_of_a_wave_and_nothing_else(tmp_path):
    source = wave_with_everything()
    (tmp_path / "a.wav").write_bytes(source)
    measured = measure(tmp_path / "a.wav")
    stamp(tmp_path / "a.wav", Claimed.from_reading(measured.reading), prepare(tmp_path / "a.wav"))
    stamped = (tmp_path / "a.wav").read_bytes()

    at = source.index(b"bext") + 8
    assert stamped[: at + 412] + stamped[at + 422 :] == source[: at + 412] + source[at + 422 :]
    assert stamped[at + 412 : at + 422] != source[at + 412 : at + 422]
