"""OSC 1.0 address patterns, matched in a time bounded by the length of the pattern.

A backtracking matcher runs for minutes on a short pattern full of stars. This one advances all positions
reached so far through the pattern at once, as the bits of one number.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

LONGEST = 128
"""Characters of a pattern. Ours: some five times the longest address there is."""

_SPECIAL = frozenset("?*[]{}")

Kind = Literal["any", "star", "set", "words"]


@dataclass(frozen=True, slots=True)
class _Token:
    kind: Kind
    words: tuple[str, ...] = ()
    """For set the characters that fit, one by one; for words the strings that do."""
    is_negated: bool = False


def is_pattern(address: str) -> bool:
    """True when *address* has a character that means more than itself (OSC 1.0, "OSC Address Patterns")."""
    return not _SPECIAL.isdisjoint(address)


def matches(pattern: str, address: str) -> bool:
    """Whether *pattern* names *address*, part by part: no wildcard reaches over a ``/``.

    Source: OSC 1.0 specification (2002), "OSC Message Dispatching and Pattern Matching".
    Raises ValueError, with the reason, for a pattern that is too long, not ASCII or has a bracket without
    its partner.
    """
    return Pattern(pattern).matches(address)


class Pattern:
    """A pattern that is read once and matched often."""

    def __init__(self, text: str) -> None:
        """Raises ValueError, with the reason, when it is too long, not ASCII, or a bracket has no partner."""
        if not text.isascii():
            raise ValueError("an address pattern is ASCII")
        if len(text) > LONGEST:
            raise ValueError(f"an address pattern has at most {LONGEST} characters, not {len(text)}")
        self._parts = [tuple(_tokens(part)) for part in text.split("/")]

    def matches(self, address: str) -> bool:
        """Whether the pattern names *address*."""
        parts = address.split("/")
        return len(parts) == len(self._parts) and all(map(_fits, self._parts, parts))


def _fits(tokens: tuple[_Token, ...], text: str) -> bool:
    everywhere = (2 << len(text)) - 1
    standing = _standing(text)
    places = 1  # bit n: the first n characters are matched
    for token in tokens:
        if token.kind == "star":
            places = everywhere & -(places & -places)  # from the lowest place on
        elif token.kind == "any":
            places = places << 1 & everywhere
        elif token.kind == "set":
            places = (places & _any_of(standing, token) & everywhere >> 1) << 1
        else:
            places = _after_words(places, standing, token.words)
        if not places:
            return False
    return bool(places >> len(text) & 1)


def _any_of(standing: dict[str, int], token: _Token) -> int:
    fitting = 0
    for character in token.words:
        fitting |= standing.get(character, 0)
    return ~fitting if token.is_negated else fitting


def _after_words(places: int, standing: dict[str, int], words: tuple[str, ...]) -> int:
    reached = 0
    for word in words:
        behind = places
        for character in word:
            behind = (behind & standing.get(character, 0)) << 1
        reached |= behind
    return reached


@lru_cache(maxsize=1024)
def _standing(text: str) -> dict[str, int]:
    """Places of each character, as bits."""
    standing: dict[str, int] = {}
    for at, character in enumerate(text):
        standing[character] = standing.get(character, 0) | 1 << at
    return standing


def _tokens(part: str) -> Iterator[_Token]:
    at = 0
    while at < len(part):
        character = part[at]
        if character in "]}":
            raise ValueError(f"the address pattern has a {character} that was never opened")
        if character in "[{":
            end = part.find("]" if character == "[" else "}", at)
            if end < 0:
                raise ValueError(f"the address pattern has a {character} that is never closed")
            inside = part[at + 1 : end]
            yield _set(inside) if character == "[" else _Token("words", tuple(inside.split(",")))
            at = end + 1
            continue
        yield (
            _Token("any") if character == "?" else _Token("star") if character == "*" else _literal(character)
        )
        at += 1


def _literal(character: str) -> _Token:
    return _Token("words", (character,))


def _set(inside: str) -> _Token:
    """``a-z`` is a range, ``!`` in front negates; a minus at the end is itself, as is a ``!`` elsewhere."""
    is_negated = inside.startswith("!")
    rest = inside[is_negated:]
    words: list[str] = []
    at = 0
    while at < len(rest):
        if rest[at + 1 : at + 2] == "-" and at + 2 < len(rest):
            words += map(chr, range(ord(rest[at]), ord(rest[at + 2]) + 1))
            at += 3
            continue
        words.append(rest[at])
        at += 1
    return _Token("set", tuple(set(words)), is_negated)
