"""A run whose source breaks in an unexpected way. Arguments: those of ``sidecar live``."""

import sys

from sidecar.cli import main
from sidecar.cli.commands import live
from sidecar.sources.file import FileSource

BREAKS_AFTER_S = 4.0


class BrokenSource(FileSource):
    def blocks(self):
        given = 0
        for block in super().blocks():
            yield block
            given += len(block.frames)
            if given > BREAKS_AFTER_S * self.rate_hz:
                raise ZeroDivisionError("an unforeseen fault")


live.FileSource = BrokenSource
raise SystemExit(main(sys.argv[1:]))
