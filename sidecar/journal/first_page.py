"""A record whose first page is damaged, read all the same.

That page holds the header and the definition of the tables, without which SQLite reads nothing. Both are the
same in every record of one version: tables that are made in the same order have their roots on the same
pages (SQLite's "Database File Format", §1.3 and §2.6; with auto-vacuum, roots come first).
"""

from __future__ import annotations

import shutil
import struct
from pathlib import Path

from sidecar.journal import schema

_PAGE_COUNT_AT, _FREE_PAGES_AT = 28, 32
"""Offsets in the header: the size in pages; first page and number of the free ones (ibid., §1.3)."""


def with_new_first_page(file: Path, folder: Path) -> Path:
    """A copy in *folder* whose first page is that of a new record.

    Whether it belongs to the rest, the seals of the rows will show. Raises OSError and sqlite3.Error where
    there is no room.
    """
    new, copy = folder / "new.sqlite", folder / "copy.sqlite"
    schema.connect(new, patience_s=1.0).close()
    shutil.copyfile(file, copy)
    page = bytearray(new.read_bytes()[: schema.PAGE_BYTES])
    struct.pack_into(">I", page, _PAGE_COUNT_AT, copy.stat().st_size // schema.PAGE_BYTES)
    struct.pack_into(">II", page, _FREE_PAGES_AT, 0, 0)
    with copy.open("r+b") as opened:
        opened.write(page)
    return copy
