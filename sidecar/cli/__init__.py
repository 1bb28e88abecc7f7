"""The command ``sidecar``: parse, call, print. Modules of a command are imported when it is called."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from importlib import import_module

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
    """Returns the exit code for a closed output pipe (0) or a full disk. Raises any other error."""
    is_closed = isinstance(error, BrokenPipeError)
    if not is_closed and error.errno not in DISK_FULL:
        raise error
    # Python would try to write the buffered rest again at exit.
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return 0 if is_closed else _refuse(unwritable(error), CANNOT)


def _refuse(error: SidecarError, code: int) -> int:
    print(f"sidecar: {printable(str(error))}", file=sys.stderr)
    return code
