"""The command ``sidecar``: parse, call, print. What does the work is imported when it is needed."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from importlib import import_module

from sidecar.cli.terminal.first_run import settle_compiled_code
from sidecar.cli.terminal.text import settle_outputs
from sidecar.cli.terminal.unwritable import DISK_FULL, unwritable
from sidecar.errors import DeviceLost, SidecarError
from sidecar.model.foreign_text import printable

CANNOT, LOST, INTERRUPTED = 2, 3, 130


def main(arguments: Sequence[str] | None = None) -> int:
    """Runs one command and returns its exit code: 2 for what cannot be done, 3 for a lost device."""
    settle_outputs()
    # Products of small matrices only: the library's own threads would take the cores from the audio.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        parser = import_module(
            "sidecar.cli.arguments.parser"
        ).make_parser()  # Ctrl-C may come while it is loaded
        options = parser.parse_args(arguments)
        if options.command is None:
            parser.print_help(sys.stderr)
            return CANNOT
        settle_compiled_code()
        code = import_module(f"sidecar.cli.commands.{options.command.replace('-', '_')}").run(options)
        sys.stdout.flush()
    except DeviceLost as error:
        return _refuse(error, LOST)
    except SidecarError as error:
        return _refuse(error, CANNOT)
    except KeyboardInterrupt:
        return INTERRUPTED
    except OSError as error:
        return _output_lost(error)
    return int(code)


def _output_lost(error: OSError) -> int:
    """Whoever read the output has heard enough, or it goes to a disk that is full. Raises any other error."""
    has_gone = isinstance(error, BrokenPipeError)
    if not has_gone and error.errno not in DISK_FULL:
        raise error
    # What is still on its way there would be tried once more at the end.
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return 0 if has_gone else _refuse(unwritable(error), CANNOT)


def _refuse(error: SidecarError, code: int) -> int:
    print(f"sidecar: {printable(str(error))}", file=sys.stderr)
    return code
