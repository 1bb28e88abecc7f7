"""Address patterns against OSC 1.0 (2002), "OSC Message Dispatching and Pattern Matching"."""

import re
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sidecar.osc import patterns
from sidecar.osc.patterns import LONGEST, Pattern, is_pattern, matches


@pytest.mark.parametrize(
    ("pattern", "address", "expected"),
    [
        # '?' matches any single character
        ("/a?c", "/abc", True),
        ("/a?c", "/ac", False),
        # '*' matches any sequence of zero or more characters
        ("/a*c", "/ac", True),
        ("/a*c", "/abbbc", True),
        ("/a*c", "/abbbd", False),
        # a string of characters in square brackets matches any character in the string
        ("/[abc]", "/b", True),
        ("/[abc]", "/d", False),
        # two characters separated by a minus sign indicate the range between the two in ASCII
        ("/[a-c]x", "/bx", True),
        ("/[a-c]x", "/dx", False),
        # an exclamation point at the beginning of a bracketed string negates the sense of the list
        ("/[!a-c]", "/d", True),
        ("/[!a-c]", "/b", False),
        # an exclamation point anywhere besides the first character has no special meaning
        ("/[a!]", "/!", True),
        # a minus at the end of the string has no special meaning
        ("/[a-]", "/-", True),
        ("/[a-]", "/b", False),
        # a comma-separated list in curly braces matches any of the strings in the list
        ("/{foo,bar}", "/foo", True),
        ("/{foo,bar}", "/bar", True),
        ("/{foo,bar}", "/baz", False),
        ("/x{a,ab}c", "/xabc", True),
        # address and pattern contain the same number of parts, and each part matches
        ("/*", "/a/b", False),
        ("/*/b", "/a/b", True),
        ("/a", "/a", True),
        ("/a", "/A", False),
        ("", "", True),
    ],
)
def test_each_sentence_of_the_specification_holds(pattern, address, expected):
    """Row by row what the specification says of matching."""
    assert matches(pattern, address) == expected


@pytest.mark.parametrize("pattern", ["/[ab", "/{a,b", "/a]", "/a}", "/[a/b]", "/{a/b}", "/" + "*" * LONGEST])
def test_a_pattern_that_cannot_be_read_is_refused(pattern):
    """A bracket needs its partner in its own part, and there is a longest pattern."""
    with pytest.raises(ValueError, match="address pattern"):
        Pattern(pattern)


def test_a_hostile_pattern_costs_no_more_than_its_length():
    """A matcher that goes back after each star would try more ways than there are atoms; this one takes a few
    steps for each character of the pattern."""
    pattern, address = "/" + "*a" * 60, "/" + "a" * 200 + "b"
    most = 20 * len(pattern)
    steps = 0

    def count(frame, event, argument):
        nonlocal steps
        steps += frame.f_code.co_filename == patterns.__file__
        if steps > most + 5 * len(address):
            raise AssertionError("it goes back and forth")
        return count

    sys.settrace(count)
    try:
        found = Pattern(pattern).matches(address)
    finally:
        sys.settrace(None)

    assert not found


PIECES = {
    "a": "a",
    "b": "b",
    "?": "[^/]",
    "*": "[^/]*",
    "[ab]": "[ab]",
    "[!a]": "[^a/]",
    "[b-d]": "[b-d]",
    "{ab,c}": "(?:ab|c)",
    "/": "/",
}


@pytest.mark.slow
@settings(max_examples=400, deadline=None, derandomize=True)
@given(st.lists(st.sampled_from(sorted(PIECES)), max_size=8), st.text("abcd/", max_size=10))
def test_it_agrees_with_regular_expressions(pieces, address):
    """The same pattern, written for Python's own matcher, gives the same answer on every short address."""
    expected = re.fullmatch("".join(PIECES[piece] for piece in pieces), address) is not None

    assert matches("".join(pieces), address) == expected


@pytest.mark.slow
@settings(max_examples=400, deadline=None, derandomize=True)
@given(st.text(max_size=40), st.text(max_size=20))
def test_any_text_is_a_pattern_or_refused(pattern, address):
    """Whatever arrives, there is an answer or a reason."""
    try:
        answer = matches(pattern, address)
    except ValueError as error:
        assert "address pattern" in str(error)
    else:
        assert answer in (True, False)


def test_only_what_needs_matching_is_called_a_pattern():
    """A plain address goes the short way."""
    assert not is_pattern("/sidecar/short-term")
    assert all(is_pattern(f"/a{mark}") for mark in "?*[]{}")
