"""The loudness fields of broadcast wave files, read and written."""

import os
import struct

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from wave_files import CUE, FMT, IXML, JUNK_FOR_DS64, LIST, bext, chunk, long_form, pcm_24, riff, taken_apart

from sidecar.errors import SourceError
from sidecar.model.readings import SILENCE, Reading
from sidecar.wave.bext import Claimed, new_bext, read_loudness
from sidecar.wave.bext_write import prepare, stamp
from sidecar.wave.chunks import walk

CLAIMED = Claimed(-22.7, 6.12, -1.3, -14.05, -18.0)
DATA = (b"data", pcm_24(0.01))


@pytest.fixture
def file(tmp_path):
    def write(content, name="mix.wav"):
        (tmp_path / name).write_bytes(content)
        return tmp_path / name

    return write


def stamped(path, claimed=CLAIMED):
    return stamp(path, claimed, prepare(path))


def test_each_field_stands_where_the_standard_puts_it():
    """Tech 3285 v2.0: version at 346, five int16 from 412 in this order; −22.7 LUFS is the bytes 22 F7."""
    content = new_bext(CLAIMED)

    assert len(content) == 602
    assert struct.unpack_from("<H", content, 346)[0] == 2
    assert bytes.fromhex("22F7") == content[412:414]
    assert struct.unpack_from("<5h", content, 412) == (-2270, 612, -130, -1405, -1800)
    assert bytes(346) == content[:346]
    assert bytes(64 + 180) == content[348:412] + content[422:]


@pytest.mark.parametrize(
    ("value", "field"),
    [
        (-22.644, -2264),
        (-22.646, -2265),
        (22.646, 2265),
        (-0.125, -13),  # exact in binary: a true half, which goes away from zero
        (0.125, 13),
        (SILENCE, 0x7FFF),
        (-120.0, 0x7FFF),
        (None, 0x7FFF),
    ],
)
def test_values_are_rounded_to_hundredths_and_what_does_not_fit_is_unused(value, field):
    """Tech 3285 v2.0: round(100 × value) within ±99.99, else 0x7FFF (rounding and range from memory)."""
    assert field == struct.unpack_from("<h", new_bext(Claimed(integrated=value)), 412)[0]


def test_silence_claims_nothing():
    """No loudness, no range: a range of 0 would be a claim about programme that is not there."""
    assert Claimed() == Claimed.from_reading(Reading())
    assert Claimed.from_reading(Reading(max_short_term=-30.0)).loudness_range == 0.0


def test_what_is_written_is_read_back(file):
    """All five, to the hundredth."""
    path = file(riff((b"bext", bext()), (b"fmt ", FMT), DATA))
    stamped(path)

    assert read_loudness(path) == CLAIMED


@pytest.mark.parametrize(
    "content",
    [
        riff((b"fmt ", FMT), DATA),
        riff((b"bext", bext(version=1, loudness=(1, 2, 3, 4, 5))), (b"fmt ", FMT), DATA),
        riff((b"bext", bext()), (b"fmt ", FMT), DATA),
        b"fLaC" + bytes(100),
        b"",
    ],
    ids=["no bext", "version 1", "unused", "not a wave", "empty"],
)
def test_a_file_that_claims_nothing(file, content):
    """Loudness came with version 2, and only these files can claim any."""
    assert read_loudness(file(content)) is None


def test_a_field_that_is_unused_stays_unclaimed(file):
    """The others are still claims."""
    path = file(riff((b"bext", bext(loudness=(-2300, 0x7FFF, -100, 0x7FFF, 0x7FFF))), (b"fmt ", FMT), DATA))

    assert Claimed(integrated=-23.0, max_true_peak=-1.0) == read_loudness(path)


AROUND = {
    "first": ((b"bext", bext(umid=b"unique")), (b"fmt ", FMT), IXML, DATA, LIST),
    "after the room for ds64": (
        JUNK_FOR_DS64,
        (b"bext", bext(umid=b"unique")),
        (b"fmt ", FMT),
        DATA,
        CUE,
        IXML,
    ),
    "behind the audio": ((b"fmt ", FMT), IXML, DATA, (b"bext", bext(umid=b"unique")), LIST),
    "version 1": ((b"bext", bext(version=1, umid=b"unique")), (b"fmt ", FMT), DATA),
    "odd history": ((b"bext", bext(umid=b"unique", history=b"A=PCM")), (b"fmt ", FMT), DATA),
}


@pytest.mark.parametrize("chunks", AROUND.values(), ids=AROUND)
@pytest.mark.parametrize("build", [riff, long_form], ids=["RIFF", "RF64"])
def test_existing_fields_change_in_place_and_nothing_else_does(file, build, chunks):
    """Ten bytes of loudness and the version; every other byte, the file itself and its times stay."""
    before = build(*chunks)
    path = file(before)
    os.utime(path, ns=(10**18, 10**18 + 5))
    inode = path.stat().st_ino
    how = stamped(path)

    after, place = path.read_bytes(), before.index(b"The harbour at night")
    changed = {at - place for at, pair in enumerate(zip(before, after, strict=True)) if len(set(pair)) > 1}
    assert ("in place", inode, 10**18 + 5) == (how, path.stat().st_ino, path.stat().st_mtime_ns)
    assert changed <= {346, 347, *range(412, 422)}
    assert after[place + 348 : place + 354] == b"unique"
    assert read_loudness(path) == CLAIMED
    assert [entry.name for entry in path.parent.iterdir()] == ["mix.wav"]


def test_version_0_had_no_umid(file):
    """What stood in its place was reserved: it must not become a UMID."""
    path = file(riff((b"bext", bext(version=0, umid=b"rubbish")), (b"fmt ", FMT), DATA))
    stamped(path)

    assert bytes(64) == dict(taken_apart(path.read_bytes()))[b"bext"][348:412]


@pytest.mark.parametrize("tail", [b"", b"something behind the form"], ids=["plain", "tail"])
def test_a_new_chunk_is_put_in_front_of_the_audio_and_all_the_others_stay(file, tail):
    """Odd chunks, padding, order and what is behind the form are kept byte for byte."""
    chunks = (JUNK_FOR_DS64, (b"fmt ", FMT), IXML, CUE, DATA, LIST)
    path = file(riff(*chunks, tail=tail))
    path.chmod(0o640)
    os.utime(path, ns=(10**18, 10**18 + 5))
    how = stamped(path)

    expected = riff(*chunks[:4], (b"bext", new_bext(CLAIMED)), *chunks[4:], tail=tail)
    assert path.read_bytes() == expected
    assert (how, path.stat().st_mode & 0o777, path.stat().st_mtime_ns) == ("copied", 0o640, 10**18 + 5)
    assert [entry.name for entry in path.parent.iterdir()] == ["mix.wav"]


@pytest.mark.parametrize("form", [b"RF64", b"BW64"])
def test_a_new_chunk_in_the_long_forms_counts_in_their_own_sizes(file, form):
    """Tech 3306: the form's size in ds64 grows by the chunk; sizes in its table stay."""
    chunks = ((b"fmt ", FMT), IXML, DATA, LIST)
    table = ((b"iXML", len(IXML[1])),)
    path = file(long_form(*chunks, form=form, table=table))
    stamped(path)

    with_bext = (*chunks[:2], (b"bext", new_bext(CLAIMED)), *chunks[2:])
    assert long_form(*with_bext, form=form, table=table) == path.read_bytes()
    assert read_loudness(path) == CLAIMED


def test_a_last_chunk_without_its_padding_is_forgiven(file):
    """Common practice, no source: many writers leave it out, and nothing is lost by that."""
    chunks = ((b"fmt ", FMT), (b"data", bytes(601)))
    path = file(riff(*chunks)[:-1])
    stamped(path)

    assert riff(chunks[0], (b"bext", new_bext(CLAIMED)), chunks[1])[:-1] == path.read_bytes()


@pytest.mark.parametrize(
    ("size", "rest"),
    [(602, None), (610, b""), (4096, bytes(4096 - 610))],
    ids=["exact", "empty rest", "rest"],
)
def test_a_filler_in_front_of_the_audio_gives_its_place(file, size, rest):
    """Nothing moves: the audio keeps its place, which may have been chosen with care."""
    path = file(riff(JUNK_FOR_DS64, (b"fmt ", FMT), (b"JUNK", bytes(size)), DATA, LIST))
    inode = path.stat().st_ino
    how = stamped(path)

    left = () if rest is None else ((b"JUNK", rest),)
    expected = riff(JUNK_FOR_DS64, (b"fmt ", FMT), (b"bext", new_bext(CLAIMED)), *left, DATA, LIST)
    assert ("in place", inode) == (how, path.stat().st_ino)
    assert path.read_bytes() == expected


@pytest.mark.parametrize(
    "chunks",
    [
        ((b"JUNK", bytes(4096)), (b"fmt ", FMT), DATA),
        ((b"fmt ", FMT), (b"JUNK", bytes(605)), DATA),
        ((b"fmt ", FMT), DATA, (b"JUNK", bytes(4096))),
    ],
    ids=["the room for ds64", "too small for a rest", "behind the audio"],
)
def test_a_filler_that_does_not_fit_is_left_alone(file, chunks):
    """Tech 3306: the filler at the front waits for ds64."""
    path = file(riff(*chunks))

    assert stamped(path) == "copied"
    assert list(chunks) == [part for part in taken_apart(path.read_bytes()) if part[0] != b"bext"]


WHOLE = riff((b"bext", bext()), (b"fmt ", FMT), DATA)
TORN = {
    "cut in the audio": (WHOLE[:-100], "cut off"),
    "cut in bext": (WHOLE[:200], "cut off"),
    "head only": (WHOLE[:12], "cut off"),
    "no audio": (riff((b"fmt ", FMT)), "no data chunk"),
    "data longer than the form": (
        b"RIFF" + struct.pack("<I", 100) + b"WAVE" + chunk(b"data", bytes(500)),
        "promises 500 bytes and 88 are left",
    ),
    "out of step": (riff((b"fmt ", FMT), (b"iXML", b"odd"), DATA)[:44] + b"\x01" + WHOLE[44:], "no chunk"),
    "RF64 without ds64": (b"RF64" + WHOLE[4:], "ds64"),
    "two of them": (riff((b"bext", bext()), (b"bext", bext()), (b"fmt ", FMT), DATA), "2 bext chunks"),
    "short bext": (riff((b"bext", bytes(100)), (b"fmt ", FMT), DATA), "100 bytes"),
    "newer bext": (riff((b"bext", bext(version=3)), (b"fmt ", FMT), DATA), "version 3"),
    "not a wave": (b"fLaC" + bytes(100), "only WAV"),
    "thousands of chunks": (riff(*[(b"JUNK", b"")] * 5000, (b"fmt ", FMT), DATA), "more than 4096"),
}


@pytest.mark.parametrize(("content", "said"), TORN.values(), ids=TORN)
def test_what_cannot_be_understood_is_refused_and_left_alone(file, content, said):
    """The message names the file and what is wrong with it."""
    path = file(content)
    with pytest.raises(SourceError) as refused:
        stamped(path)

    assert said in str(refused.value)
    assert str(path) in str(refused.value)
    assert content == path.read_bytes()


def test_every_cut_of_a_file_is_refused_or_read_without_harm(file):
    """Cut anywhere, a walk ends in an error, or the cut took no more than the last padding."""
    whole = riff((b"bext", bext()), (b"fmt ", FMT), (b"data", bytes(99)))
    for length in range(len(whole) - 1):
        path = file(whole[:length])
        with path.open("rb") as opened, pytest.raises(SourceError):
            walk(opened)


named = st.sampled_from([b"iXML", b"cue ", b"LIST", b"JUNK", b"axml", b"PAD ", b"chna", b"smpl"])
contents = st.one_of(st.integers(0, 9), st.integers(590, 640)).map(lambda size: bytes([7]) * size)
several = st.lists(st.tuples(named, contents), max_size=5)


@pytest.mark.slow
@settings(derandomize=True, deadline=None, max_examples=150)
@given(
    build=st.sampled_from([riff, long_form]),
    front=several,
    middle=several,
    end=several,
    history=st.none() | st.integers(0, 5),
    data_bytes=st.integers(1, 50),
)
def test_any_order_of_chunks_is_kept(tmp_path_factory, build, front, middle, end, history, data_bytes):
    """In any order of chunks: taken apart by other code, all but fields and fillers is as it was."""
    fields = [] if history is None else [(b"bext", bext(history=b"h" * history))]
    audio = (b"data", bytes([9]) * data_bytes)
    chunks = (*front, (b"fmt ", FMT), *fields, *middle, audio, *end)
    path = tmp_path_factory.getbasetemp() / "any.wav"
    path.write_bytes(build(*chunks))
    stamped(path)

    def kept(parts):
        return [part for part in parts if part[0] not in {b"bext", b"JUNK", b"PAD ", b"ds64"}]

    assert kept(chunks) == kept(taken_apart(path.read_bytes()))
    assert read_loudness(path) == CLAIMED


def test_a_file_that_changed_meanwhile_is_left_alone(file):
    """A workstation that exports over it while it is measured keeps its export."""
    path = file(WHOLE)
    seen = prepare(path)
    file(WHOLE + b"longer")

    with pytest.raises(SourceError, match="changed during the measurement"):
        stamp(path, CLAIMED, seen)
    assert path.read_bytes() == WHOLE + b"longer"


def test_a_change_whose_time_was_set_back_is_noticed(file):
    """As tools do that write fields in place; the time of the status cannot be set (POSIX, st_ctim)."""
    path = file(WHOLE)
    seen, before = prepare(path), path.stat()
    other = WHOLE[:-1] + bytes((WHOLE[-1] ^ 1,))
    while path.stat().st_ctime_ns == before.st_ctime_ns:  # clocks of file systems tick every few milliseconds
        path.write_bytes(other)
        os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))

    with pytest.raises(SourceError, match="changed during the measurement"):
        stamp(path, CLAIMED, seen)
    assert path.read_bytes() == other


def test_a_link_stays_a_link(file, tmp_path):
    """The file behind it is written."""
    path = file(riff((b"fmt ", FMT), DATA))
    link = tmp_path / "link.wav"
    link.symlink_to(path)
    stamped(link)

    assert link.is_symlink()
    assert read_loudness(path) == CLAIMED


def test_a_file_with_two_names_is_not_torn_in_two(file, tmp_path):
    """A copy would leave the other name with the old content."""
    path = file(riff((b"fmt ", FMT), DATA))
    (tmp_path / "other.wav").hardlink_to(path)

    with pytest.raises(SourceError, match="another name"):
        stamped(path)


def test_a_form_that_would_outgrow_its_sizes_is_refused(file, monkeypatch):
    """A WAV ends at 4 GiB; the way out is named. The file is sparse and nothing of it is copied."""
    path = file(riff((b"fmt ", FMT), (b"data", b"")))
    data_bytes = 2**32 - 8 - 24 - 12 - 200
    with path.open("r+b") as opened:
        opened.seek(4)
        opened.write(struct.pack("<I", 4 + 24 + 8 + data_bytes))
        opened.seek(40)
        opened.write(struct.pack("<I", data_bytes))
        opened.truncate(44 + data_bytes)

    with pytest.raises(SourceError, match="4 GiB"):
        stamped(path)
    assert [entry.name for entry in path.parent.iterdir()] == ["mix.wav"]


def test_a_name_as_long_as_names_can_be_is_read(file):
    """255 bytes (NAME_MAX of Linux): a change of such a file is never under way, for its journal's name would
    be longer; that is no reason to refuse it."""
    path = file(riff((b"fmt ", FMT), DATA), "n" * 251 + ".wav")

    assert read_loudness(path) is None
