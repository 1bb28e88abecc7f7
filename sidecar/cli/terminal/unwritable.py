"""Standard output that goes to a disk which is full: of no use, and no fault of the program's."""

from __future__ import annotations

import errno

from sidecar.errors import OutputError

DISK_FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)


def unwritable(error: OSError) -> OutputError:
    """Says so, and what to do."""
    return OutputError(f"The output cannot be written ({error.strerror}). Make room, or send it elsewhere.")
