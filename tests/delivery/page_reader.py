"""A page read strictly: every element closed where it must be, in order."""

from collections import Counter
from html.parser import HTMLParser

VOID = {"meta", "br", "col", "link", "img", "input", "hr"}


class PageReader(HTMLParser):
    """What is in a page; raises AssertionError where elements are not nested."""

    def __init__(self, page):
        super().__init__()
        self.elements = Counter()
        self.ids = Counter()
        self.links = []
        self.references = []
        """Everything that makes a browser fetch something."""
        self.texts = []
        self.rows = []
        """Text of each table cell, row by row."""
        self._open = []
        self.feed(page)
        self.close()
        assert self._open == []

    def handle_starttag(self, element, attributes):
        given = dict(attributes)
        assert len(given) == len(attributes), f"an attribute twice in {element}"
        self.elements[element] += 1
        self.ids.update([given["id"]] if "id" in given else [])
        if element == "a":
            self.links.append(given["href"])
        self.references += [f"{element} {name}" for name in given if name in ("src", "srcset", "data")]
        self.references += [element] if element in ("link", "script", "iframe", "object", "img") else []
        if element == "tr":
            self.rows.append([])
        if element in ("th", "td"):
            self.rows[-1].append("")
        if element not in VOID:
            self._open.append(element)

    def handle_endtag(self, element):
        assert self._open and element == self._open.pop(), f"</{element}> closes nothing"

    def handle_data(self, text):
        self.texts.append(text)
        if {"th", "td"} & set(self._open) and "svg" not in self._open:
            self.rows[-1][-1] += text

    @property
    def text(self):
        return " ".join(self.texts)
