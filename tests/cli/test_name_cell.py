"""Names of files in tables."""

import io

import pytest
from rich.console import Console
from rich.table import Table

from sidecar.cli.terminal.name_cell import NameCell


def lines(name, width):
    table = Table.grid()
    table.add_column()
    table.add_row(NameCell(name))
    console = Console(file=io.StringIO(), width=width, color_system=None)
    console.print(table)
    return [line.rstrip() for line in console.file.getvalue().splitlines()]


@pytest.mark.parametrize(
    ("name", "width", "expected"),
    [
        ("mix.wav", 20, ["mix.wav"]),
        ("a long name of a mix.wav", 12, ["a long name", "of a mix.wav"]),
        ("reel_two-final mix.wav", 10, ["reel_two-", "final", "mix.wav"]),
        ("day/scene/mix.wav", 11, ["day/scene/", "mix.wav"]),
        ("undividedname.wav", 10, ["undividedn", "ame.wav"]),
        ("晴れ晴れ 晴れ.wav", 9, ["晴れ晴れ", "晴れ.wav"]),
        ("[bold]x[/bold].wav", 30, ["[bold]x[/bold].wav"]),
        ("two\nlines.wav", 30, ["two\ufffdlines.wav"]),
    ],
)
def test_a_name_breaks_between_its_words(name, width, expected):
    assert lines(name, width) == expected
