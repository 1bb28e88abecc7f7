"""How every list of this program looks: a line below the headings, none between the columns."""

from __future__ import annotations

from rich.box import SIMPLE_HEAD
from rich.table import Table
from rich.text import Text


def open_table(title: str = "") -> Table:
    """A table without columns yet; *title* is on top, at the left."""
    return Table(
        title=Text(title, "table.title") if title else None,
        title_justify="left",
        box=SIMPLE_HEAD,
        padding=(0, 1, 0, 0),
        pad_edge=False,
    )
