"""The command line's manner of speaking: help that fits the terminal, refusals of one line."""

from __future__ import annotations

import argparse
import math
from itertools import groupby
from textwrap import fill
from typing import Any, NoReturn

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
    """Refuses with one line that says what is wrong and where it is explained."""

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


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(f"{text!r} is no number") from error
