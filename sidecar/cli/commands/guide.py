"""``sidecar guide``: the pages of the guide in the terminal."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from rich.console import Console
from rich.markdown import Markdown

from sidecar.cli.terminal.table import open_table
from sidecar.errors import OutputError, SettingsError
from sidecar.settings.locations import shipped_page

PAGES = {
    "start": ("README.md", "what it is, cautions, first run, connecting, commands"),
    "advice": ("sidecar/advice/README.md", "reading the move, stems, the automatic fader"),
    "screen": ("tui/README.md", "scales, history, keys, looking back"),
    "files": ("sidecar/delivery/README.md", "check, report, archive, match, loudness fields"),
    "record": ("sidecar/journal/README.md", "the passes on record; when audio stops"),
    "browser": ("sidecar/web/README.md", "a second screen on another machine or in a browser"),
    "osc": ("sidecar/osc/README.md", "every address, asking, access, discovery"),
    "settings": ("configs/README.md", "goals, lights, scripts, surfaces"),
    "precision": ("sidecar/meter/README.md", "what the figures are worth"),
}
"""Name of each page: its file and its contents."""
_WIDEST = 100
"""Columns of text that can still be read comfortably (common practice, no source)."""


def run(options: argparse.Namespace) -> int:
    """Prints a page, or the list of pages; Markdown where the output is not a terminal."""
    if options.page is None:
        _list_pages()
        return 0
    text = _page(options.page).read_text(encoding="utf-8")
    if not sys.stdout.isatty():
        print(text, end="")
        return 0
    console = Console()
    console.print(Markdown(text), width=min(console.width, _WIDEST))
    return 0


def _page(name: str) -> Path:
    if name not in PAGES:
        raise SettingsError(f"There is no page {name!r}. Choose one of: {', '.join(PAGES)}.")
    path = shipped_page(PAGES[name][0])
    if not path.is_file():
        raise OutputError(f"The page {name} is missing at {path}: install the program again.")
    return path


def _list_pages() -> None:
    table = open_table()
    for heading in ("page", "about"):
        table.add_column(heading, overflow="fold")
    for name, (_, about) in PAGES.items():
        table.add_row(name, about)
    Console(markup=False, emoji=False).print(table)
    print("Show one with: sidecar guide PAGE")
