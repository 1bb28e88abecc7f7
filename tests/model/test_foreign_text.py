"""Text from elsewhere, made safe to print.

Source of categories and bidirectional classes: the Unicode Character Database, as ``unicodedata`` holds it.
"""

import json
import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sidecar.model.foreign_text import MARK, printable, printable_json

ANY_TEXT = st.text(st.characters(codec=None), max_size=40)


@pytest.mark.slow
@given(ANY_TEXT)
def test_no_control_of_any_kind_is_left_and_no_other_character_is_lost(text):
    shown = printable(text)

    assert len(shown) == len(text)
    for before, after in zip(text, shown, strict=True):
        assert after == before or (after == MARK and not before.isprintable())
        assert unicodedata.category(after) not in ("Cc", "Zl", "Zp")


@pytest.mark.parametrize("code", [*range(0x20), *range(0x7F, 0xA0), 0x2028, 0x2029, 0xDC80, 0xDC9B, 0xD800])
def test_controls_of_both_sets_line_ends_and_bytes_that_are_no_text_are_marked(code):
    """ECMA-48: C0 is 00 to 1F, C1 80 to 9F, of which 9B begins a control sequence."""
    assert printable(f"a{chr(code)}b") == f"a{MARK}b"


def test_every_character_that_turns_the_direction_of_text_is_marked():
    """UAX #9 §2: explicit embeddings, overrides, isolates and marks."""
    turning = [code for code in range(0x110000) if unicodedata.bidirectional(chr(code)) in BIDIRECTIONAL]
    turning += [0x200E, 0x200F, 0x061C]

    assert len(turning) == 12
    assert printable("".join(map(chr, turning))) == MARK * 12


BIDIRECTIONAL = {"LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI"}


@pytest.mark.parametrize(
    "text", ["Kästchen", "−23 LUFS ◁◇▷", "می‌خواهم", "👩‍🎤", "東京", "soft\u00adhyphen", " "]
)
def test_text_of_any_language_stays_as_it_is(text):
    assert printable(text) == text


def test_a_name_in_an_older_coding_comes_out_as_its_bytes():
    """PEP 383; but 9B would begin a control sequence on an 8-bit terminal."""
    name = b"caf\xe9 \x9b2J.wav".decode("utf-8", "surrogateescape")

    assert printable(name).encode("utf-8", "surrogateescape") == b"caf\xe9 " + MARK.encode() + b"2J.wav"


def test_what_is_too_long_is_cut_and_says_so():
    assert printable("x" * 11, 10) == "x" * 10 + "…"
    assert printable("x" * 10, 10) == "x" * 10


@given(st.dictionaries(ANY_TEXT, ANY_TEXT, max_size=3))
def test_json_is_safe_to_print_and_gives_every_character_back(fields):
    line = printable_json(fields)

    assert printable(line) == line
    assert json.loads(line) == fields
