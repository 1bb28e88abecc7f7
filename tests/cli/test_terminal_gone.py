"""What a command knows of the terminal on its standard input."""

import os
import pty
import sys
import termios
from pathlib import Path

import pytest

from sidecar.cli.terminal.state import Terminal


@pytest.fixture
def own_terminal(monkeypatch):
    """A pseudo-terminal in place of the standard input; what closes it, and the standard input."""
    master, slave = pty.openpty()
    with os.fdopen(slave) as stdin:
        monkeypatch.setattr(sys, "__stdin__", stdin)
        is_open = [True]

        def close():
            if is_open.pop():
                os.close(master)

        yield close, stdin
        if is_open:
            close()


def test_a_terminal_is_there_until_it_is_closed(own_terminal):
    """And gone for good from then on."""
    close, _ = own_terminal
    terminal = Terminal()
    told = [terminal.is_gone()]
    close()

    assert [*told, terminal.is_gone(), terminal.is_gone()] == [False, True, True]


def test_modes_are_given_back_to_a_terminal_that_is_there(own_terminal):
    """As they were; to one that is closed nothing can be given, which is no error."""
    close, stdin = own_terminal
    before = termios.tcgetattr(stdin)
    terminal = Terminal()
    changed = termios.tcgetattr(stdin)
    changed[3] &= ~(termios.ECHO | termios.ICANON)
    termios.tcsetattr(stdin, termios.TCSANOW, changed)
    terminal.give_back()
    after = termios.tcgetattr(stdin)
    close()
    terminal.give_back()

    assert before == after


def test_a_standard_input_that_is_no_terminal_is_never_gone(monkeypatch):
    """A file has no end that would be one of the run."""
    with Path(os.devnull).open() as stdin:
        monkeypatch.setattr(sys, "__stdin__", stdin)

        assert not Terminal().is_gone()
