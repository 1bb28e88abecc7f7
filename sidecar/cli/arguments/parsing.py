"""What the options of all commands share: help that fits the terminal, refusals of one line, usual ports."""

from __future__ import annotations

import argparse
import math
from itertools import groupby
from textwrap import fill
from typing import Any, NoReturn

from tui.pace import USUAL_HZ

LISTEN_PORT = 9138
"""The UDP port of ``sidecar listen``, and the default port that runs send to."""
COMMAND_PORT = 9139
"""The UDP port of a run's commands."""
OSC_ROOT = "/sidecar"
"""``osc.addresses.ROOT``, without loading the table."""
GAIN_CAUTION = (
    "Caution: your local rules on noise and hearing come first. Raised gain can hurt ears and loudspeakers: "
    "turn the"
    " monitors down before an upward move. This measures a signal, not sound pressure."
)
ARM_CAUTION = (
    "Caution: once armed, the sidecar moves this fader, upward too. Limits upward: 3 dB a step, 6 dB in a "
    "pass, 1 dB a second. Turn the monitors down first, and ask everyone in that room."
)
LIGHT_CAUTION = (
    "Caution: your local rules on flashing light come first. Flashing light can cause seizures: ask "
    "everyone in the"
    " room."
)
_CANNOT = 2
"""``sidecar.cli.CANNOT``, which imports this."""


class Help(argparse.HelpFormatter):
    """Wraps sentences, and leaves examples, which are indented, as they are."""

    def add_argument(self, action: argparse.Action) -> None:
        super().add_argument(action)
        if isinstance(action, argparse._SubParsersAction):  # indented once more, which is not counted
            self._action_max_length += self._indent_increment

    def _fill_text(self, text: str, width: int, indent: str) -> str:
        parts = groupby(text.splitlines(), key=lambda line: line.startswith(" "))
        return "\n".join(
            "\n".join(indent + line for line in lines)
            if is_example
            else fill(" ".join(lines), width, initial_indent=indent, subsequent_indent=indent)
            for is_example, lines in parts
        )


class Parser(argparse.ArgumentParser):
    """Exits on a mistake with one line: what is wrong, and which command's help explains it."""

    def __init__(self, **options: Any) -> None:
        super().__init__(formatter_class=Help, **options)
        self.register("type", int, _whole)
        self.register("type", float, _number)

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:
        """As usual, but what a command does not know is refused by that command."""
        options, unknown = super().parse_known_args(args, namespace)
        if unknown:
            self.error(f"{' '.join(unknown)} is not an option of {self.prog}")
        return options, unknown

    def error(self, message: str) -> NoReturn:
        said = message.removeprefix("argument ").rstrip(".")
        self.exit(_CANNOT, f"{self.prog}: {said}. See: {self.prog} --help\n")


def _whole(text: str) -> int:
    try:
        return int(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(f"{text!r} is no whole number") from error


def seconds(text: str) -> float:
    """The type of options that take a time."""
    value = _number(text)
    if not 0.0 < value < math.inf:
        raise argparse.ArgumentTypeError(f"{text!r} is no time: give more than 0 seconds")
    return value


def decibels(text: str) -> float:
    """The type of options that take an amount in dB, 0 or more."""
    value = _number(text)
    if not 0.0 <= value < math.inf:
        raise argparse.ArgumentTypeError(f"{text!r} is no amount: give 0 dB or more")
    return value


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(f"{text!r} is no number") from error


def add_command(
    commands: Any, name: str, summary: str, examples: str, caution: str = ""
) -> argparse.ArgumentParser:
    """One command with its summary, its caution and its examples, a line each."""
    parser: argparse.ArgumentParser = commands.add_parser(
        name,
        help=summary,
        description=f"{summary[0].upper()}{summary[1:]}. {caution}".rstrip(),
        epilog="examples:\n" + "\n".join("  " + line for line in examples.splitlines()),
    )
    return parser


def add_json(parser: argparse.ArgumentParser) -> None:
    """The option of commands that print a list."""
    parser.add_argument("--json", action="store_true", help="print one JSON array")


def add_osc_root(parser: Any, meaning: str) -> None:
    """The option of commands that use OSC."""
    parser.add_argument("--osc-root", default=OSC_ROOT, metavar="/NAME", help=f"{meaning} ({OSC_ROOT})")


def add_screen_options(parser: Any) -> None:
    """The options of commands that open the screen."""
    parser.add_argument(
        "--contrast",
        choices=("usual", "high"),
        help="text contrast on the screen: usual 4.5:1, high 7:1 (as last chosen with k)",
    )
    parser.add_argument(
        "--ground",
        choices=("auto", "dark", "light"),
        help="its background; auto asks the terminal or the browser (as last chosen with o)",
    )
    parser.add_argument(
        "--fps",
        type=drawings_hz,
        default=USUAL_HZ,
        metavar="N",
        help=f"drawings a second, 1 to 30 ({USUAL_HZ}); a slow line gets fewer by itself",
    )


def drawings_hz(text: str) -> int:
    """Returns how often the screen is drawn a second.

    Raises argparse.ArgumentTypeError outside 1 to 30.
    """
    if not text.isdecimal() or not 1 <= int(text) <= 30:
        raise argparse.ArgumentTypeError(f"'{text}' is not a whole number from 1 to 30")
    return int(text)
