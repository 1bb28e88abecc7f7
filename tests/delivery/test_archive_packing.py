"""What is kept of a measured file gives back what was measured."""

import json
import tracemalloc
import zlib
from dataclasses import fields, replace

import numpy as np
import pytest
import soundfile
from made import FACTS, made

from sidecar.delivery.batch.packing import _checksum, pack, unpack, without_history
from sidecar.delivery.judge.findings import Finding, Span
from sidecar.delivery.judge.verdict import judge
from sidecar.delivery.measure.facts import Silence
from sidecar.delivery.measure.whole_file import BlockSeries, measure
from sidecar.errors import RecordError
from sidecar.model.readings import SILENCE
from sidecar.settings.goals import all_goals

CLAIMS = [Finding("note", "claims", "It says −20.", (Span(1.0, 2.0, SILENCE, 1.5),))]


def returned(measured, more=()):
    return unpack(measured.file, *pack(measured, more))


def test_every_figure_comes_back_bit_for_bit():
    """Infinities, nothing, nested facts and findings with places."""
    facts = replace(FACTS, silences=(Silence(0.1, 2.5), Silence(7.0, 1.0)), correlation=0.1 + 0.2)
    measured = replace(made(facts=facts, integrated=SILENCE), max_momentary_at_s=None)

    assert (measured, CLAIMS, []) == returned(measured, CLAIMS)


def test_a_real_file_is_judged_the_same_from_what_is_kept(tmp_path):
    """The whole history comes back, so every goal finds the same faults in the same places."""
    path = tmp_path / "mix.wav"
    noise = (
        np.random.default_rng(1).standard_normal((48_000 * 9, 2))
        * np.linspace(0.01, 0.6, 48_000 * 9)[:, None]
    )
    noise[100_000:200_000] = 0.0
    soundfile.write(path, noise, 48_000, "FLOAT")
    measured = measure(path)
    kept, *_ = returned(measured)

    assert measured == kept
    for field in fields(BlockSeries):
        before, after = (getattr(each.history, field.name) for each in (measured, kept))
        assert (before.dtype, before.tobytes()) == (after.dtype, after.tobytes()), field.name
    for goal in all_goals():
        assert judge(measured, goal) == judge(kept, goal)


def test_what_is_kept_is_plain_data():
    """Nothing in it is ever run."""
    figures, _ = pack(made(), CLAIMS)

    assert json.loads(figures).keys() == {"measured", "more", "course", "crc32"}


def test_figures_alone_take_no_room():
    """For who keeps many: the history is empty, the rest as it was."""
    bare = without_history(made())

    assert made() == bare
    assert sum(getattr(bare.history, field.name).size for field in fields(BlockSeries)) == 0


@pytest.mark.parametrize("place", range(0, 2000, 37))
def test_a_flipped_bit_is_damage_and_no_other_figure(place):
    """In the text and in the history: a digit that is another one is still JSON."""
    figures, history = pack(made(), ())
    packed = bytearray(figures.encode() + history)
    packed[place % len(packed)] ^= 1 << place % 8
    text = packed[: len(figures)].decode(errors="replace")

    with pytest.raises(RecordError, match=r"mix\.wav: its result in the archive is damaged"):
        unpack("mix.wav", text, bytes(packed[len(figures) :]))


def test_a_history_that_would_fill_memory_is_refused_before_it_does():
    """A megabyte of zeros takes a kilobyte: each of these is whole and says what it unpacks to."""
    figures, _ = pack(made(), ())
    for shapes, unpacked in (({"energy": ["<f8", [10**12]]}, 8), ({"energy": ["<f8", [1]]}, 1 << 25)):
        history = zlib.compress(bytes(unpacked))
        content = {**json.loads(figures), "course": shapes}
        del content["crc32"]
        content["crc32"] = _checksum(content, history)
        tracemalloc.start()
        with pytest.raises(RecordError, match="a history of"):
            unpack("mix.wav", json.dumps(content), history)
        _, most = tracemalloc.get_traced_memory()
        tracemalloc.stop()

        assert most < 1 << 20
