"""The sentences in one place."""

import re
from pathlib import Path

import tui
from tui import texts
from tui.keys import explained

SOURCES = [file for file in Path(tui.__file__).parent.rglob("*.py") if file.name != "texts.py"]


def test_every_sentence_is_shown_somewhere():
    """Nobody translates what is never seen."""
    names = [name for name in vars(texts) if name.isupper()]
    code = "\n".join(file.read_text(encoding="utf-8") for file in SOURCES)

    assert len(names) > 30
    assert [name for name in names if f"texts.{name}" not in code] == []


def test_the_sentences_know_nothing_of_the_toolkit_or_of_layouts():
    """A translator needs no more than this one file."""
    code = Path(texts.__file__).read_text(encoding="utf-8")

    assert "textual" not in code
    assert "from tui" not in code


def test_an_entry_of_the_help_has_twelve_words_at_most():
    entries = [*explained(), *texts.MEASURES]

    assert len(entries) > 60
    assert [text for _, text in entries if len(re.findall(r"\w[\w.§-]*", text)) > 12] == []
