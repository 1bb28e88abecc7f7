"""Ogg files whole and damaged: the pages against RFC 3533, and what a measurement says of each."""

import io
import struct

import numpy as np
import pytest
import soundfile

from sidecar.delivery.measure.whole_file import measure
from sidecar.errors import SourceError
from sidecar.sources.ogg import walk_ogg

RATE_HZ = 48_000


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """Ten seconds of noise, some thirty pages."""
    path = tmp_path_factory.mktemp("ogg") / "a.ogg"
    frames = 0.1 * np.random.default_rng(1).standard_normal((10 * RATE_HZ, 2))
    soundfile.write(path, frames, RATE_HZ)
    return path.read_bytes()


def pages(content):
    """(place, size) of each page, by RFC 3533 §6 and nothing of ours."""
    place, found = 0, []
    while place < len(content):
        segments = content[place + 26]
        size = 27 + segments + sum(content[place + 27 : place + 27 + segments])
        found.append((place, size))
        place += size
    return found


def crc(page):
    """RFC 3533 §6 bit by bit: polynomial 0x04C11DB7, from 0, most significant bit first."""
    register = 0
    for byte in page[:22] + bytes(4) + page[26:]:
        register ^= byte << 24
        for _ in range(8):
            register = (register << 1 ^ (0x04C1_1DB7 if register & 0x8000_0000 else 0)) & 0xFFFF_FFFF
    return register


def with_last_granule(content, more):
    """The last page counts so many frames more, and its checksum is right."""
    place, _ = pages(content)[-1]
    page = bytearray(content[place:])
    struct.pack_into("<q", page, 6, struct.unpack_from("<q", page, 6)[0] + more)
    struct.pack_into("<I", page, 22, crc(page))
    return content[:place] + bytes(page)


def faults(content):
    return walk_ogg(io.BytesIO(content)).faults


def measured(tmp_path, content):
    (tmp_path / "a.ogg").write_bytes(content)
    return measure(tmp_path / "a.ogg", workers=1)


def length_notes(tmp_path, content):
    return [remark.sentence for remark in measured(tmp_path, content).remarks if remark.about == "length"]


def test_checksums_are_those_of_the_specification(whole):
    """Of every page that the encoder wrote, and by a computation bit by bit of some."""
    assert faults(whole) == []
    for place, size in pages(whole)[:3]:
        page = whole[place : place + size]
        assert struct.unpack_from("<I", page, 22)[0] == crc(page)


def test_a_whole_file_has_nothing_to_be_noted(tmp_path, whole):
    assert length_notes(tmp_path, whole) == []
    assert measured(tmp_path, whole).reading.seconds == 10.0


@pytest.mark.parametrize("share", [0.3, 0.6, 0.95])
def test_a_file_that_was_cut_is_refused(tmp_path, whole, share):
    with pytest.raises(SourceError, match="no page that ends its stream"):
        measured(tmp_path, whole[: int(share * len(whole))])


def test_a_cut_between_two_pages_is_refused(tmp_path, whole):
    """A decoder takes that for a shorter file."""
    place, _ = pages(whole)[-1]
    with pytest.raises(SourceError, match="no page that ends its stream"):
        measured(tmp_path, whole[:place])


def test_a_page_that_is_missing_is_refused(tmp_path, whole):
    place, size = pages(whole)[5]
    with pytest.raises(SourceError, match=r"at byte [\d,]+ there is page 6, not page 5"):
        measured(tmp_path, whole[:place] + whole[place + size :])


def test_a_page_with_a_flipped_bit_is_refused(tmp_path, whole):
    place, size = pages(whole)[5]
    torn = bytearray(whole)
    torn[place + size // 2] ^= 1
    with pytest.raises(SourceError, match=f"the page at byte {place:,} fails its checksum"):
        measured(tmp_path, bytes(torn))


def test_bytes_between_pages_are_named(whole):
    place, _ = pages(whole)[5]

    assert faults(whole[:place] + bytes(70_000) + whole[place:]) == [
        f"at byte {place:,} there are 70,000 bytes that are no page"
    ]


def test_bytes_behind_the_last_page_are_a_note(tmp_path, whole):
    assert length_notes(tmp_path, whole + bytes(99)) == ["99 bytes follow its last page: not measured."]


def test_an_intact_file_that_decodes_to_a_little_less_is_measured_with_how_much(tmp_path, whole):
    content = with_last_granule(whole, 480)
    found = measured(tmp_path, content)

    assert found.facts.frames == 10 * RATE_HZ
    assert found.reading.integrated == measured(tmp_path, whole).reading.integrated
    assert length_notes(tmp_path, content) == [
        "It decodes to 480 frames (10.0 ms) less than its last page announces; its pages are whole."
    ]


def test_an_intact_file_that_decodes_to_much_less_is_refused(tmp_path, whole):
    with pytest.raises(SourceError, match=r"it can be read for 10\.0 s of 15\.0 s"):
        measured(tmp_path, with_last_granule(whole, 5 * RATE_HZ))


def test_of_two_files_in_one_only_the_first_would_be_read(tmp_path, whole):
    """A chain (RFC 3533 §4) is whole and is refused with what to do."""
    other = tmp_path / "b.ogg"
    soundfile.write(other, np.zeros((RATE_HZ, 2)), RATE_HZ)
    chain = whole + other.read_bytes()

    assert faults(chain) == []
    with pytest.raises(SourceError, match="holds 2 streams of audio"):
        measured(tmp_path, chain)


def test_opus_is_judged_by_its_pages_too(tmp_path):
    path = tmp_path / "a.opus"
    soundfile.write(path, np.zeros((3 * RATE_HZ, 2)) + 0.01, RATE_HZ, format="OGG", subtype="OPUS")
    content = path.read_bytes()

    assert length_notes(tmp_path, content) == []
    with pytest.raises(SourceError, match="no page that ends its stream"):
        measured(tmp_path, content[: pages(content)[-1][0]])
