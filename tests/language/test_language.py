"""What the program says: short sentences in the trade's words, and errors that name a next step."""

import re
import statistics
from pathlib import Path

import pytest
from said import ROOT, errors, names, sentences, texts, word_count

LONGEST = {"pages": 30, "help": 22, "screen": 20, "messages": 24}
"""Words of the longest sentence of each group; what is filled in counts as one."""
MEDIAN = {"pages": 13, "help": 9, "screen": 8, "messages": 8}
NOT_SAID = (
    *(
        "whoever",
        "nobody",
        "somebody",
        "everybody",
        "is told",
        "are told",
        "stands",
        "mends",
        "obey",
        "obeys",
    ),
    *("programme fader", "constant offset", "frames lost", "lost frames", "the rail"),
    *(
        "goes nowhere",
        "event behind",
        "holding it against",
        "mind ears",
        "the course",
        "90 % band",
        "gives leave",
    ),
)
"""Words that the trade does not use, or that say who does something when a thing does it."""


@pytest.mark.parametrize("group", LONGEST)
def test_sentences_are_short(group):
    counts = {said.text: word_count(said.text) for said in sentences() if said.group == group}

    assert statistics.median(counts.values()) <= MEDIAN[group]
    assert {text: count for text, count in counts.items() if count > LONGEST[group]} == {}


def test_few_sentences_of_the_pages_have_more_than_twenty_words():
    counts = [word_count(said.text) for said in sentences() if said.group == "pages"]

    assert sum(count > 20 for count in counts) <= 0.05 * len(counts)


def test_the_trade_s_words_are_used():
    found = [
        (word, said)
        for said in texts()
        for word in NOT_SAID
        if re.search(rf"\b{re.escape(word)}\b", re.sub(r"`[^`]*`", "", said.text), re.IGNORECASE)
    ]

    assert found == []


def test_comments_and_docstrings_name_no_persons_where_things_act():
    found = [
        f"{file.relative_to(ROOT)}:{number}: {line.strip()}"
        for room in ("sidecar", "tui", "configs", "tests")
        for file in sorted((ROOT / room).rglob("*.*"))
        if file.suffix in {".py", ".toml"} and file != Path(__file__)
        for number, line in enumerate(file.read_text(encoding="utf-8").splitlines(), 1)
        if re.search(r"\b(whoever|nobody|somebody|everybody|(is|are) told|stands|mends)\b", line)
    ]

    assert found == []


def test_errors_are_printed_for_reading_and_are_sentences():
    """``pytest -s`` shows them. A whole one has two statements: what is wrong, and what to do about it."""
    said = list(errors())
    for error in said:
        print(f"{error.file}:{error.line}: {error.text}")

    assert len(said) > 250
    completed = ("The sound server does", "The sound system ended", "The JACK server does", "Capturing")
    whole = [error for error in said if re.match(r"[A-Z].*\.$", error.text) and "{…}" in error.text]
    alone = [error for error in whole if not re.search(r"[.:;,] \S", error.text)]
    assert [error for error in alone if not error.text.startswith(completed)] == []


def test_names_of_commands_addresses_and_keys_are_listed():
    kinds = {kind for kind, _ in names()}

    assert kinds >= {"command", "option", "address sent", "address received", "JSON key", "key"}
    assert [name for kind, name in names() if kind.startswith("address") and not name.startswith("/")] == []
