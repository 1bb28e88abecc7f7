"""What the command line says of itself, and to those who mistype."""

import subprocess
import sys

import pytest

import sidecar.cli.arguments.parser
from sidecar.cli import main
from sidecar.cli.arguments.parser import make_parser

COMMANDS = (
    *("rehearse", "live", "screen", "review", "check", "match", "stamp", "passes"),
    *("listen", "light-test", "goals", "devices", "doctor"),
)


@pytest.fixture
def refused(capsys):
    """Parses what cannot be parsed; gives the one line on the error output."""

    def run(*arguments):
        with pytest.raises(SystemExit) as ended:
            make_parser().parse_args(arguments)
        out, err = capsys.readouterr()

        assert (ended.value.code, out) == (2, "")
        assert err.count("\n") == 1
        return err

    return run


@pytest.mark.parametrize("command", [(), *((name,) for name in COMMANDS)])
def test_help_fits_a_terminal_of_80_columns(command, capsys, monkeypatch):
    """No line is wrapped by the terminal, in the middle of a word."""
    monkeypatch.setenv("COLUMNS", "80")
    with pytest.raises(SystemExit):
        make_parser().parse_args([*command, "--help"])

    assert [line for line in capsys.readouterr().out.splitlines() if len(line) > 80] == []


@pytest.mark.parametrize(
    ("command", "cautions"),
    [
        ("live", ["hurt ears and loudspeakers", "6 dB in a pass", "Drive lamps with --light"]),
        ("match", ["hurt ears and loudspeakers"]),
        ("screen", ["hurt ears and loudspeakers", "has someone in that room agreed?"]),
        ("light-test", ["can cause seizures"]),
        ("rehearse", ["can cause seizures"]),
    ],
)
def test_help_cautions_where_gain_is_raised_or_light_flashes_local_rules_first(command, cautions, capsys):
    with pytest.raises(SystemExit):
        make_parser().parse_args([command, "--help"])
    said = " ".join(capsys.readouterr().out.split())

    assert [words for words in cautions if words not in said] == []
    assert said.index("local rules") < min(said.index(words) for words in cautions)


def test_without_a_command_the_commands_are_listed(capsys):
    """Who types the name alone learns what to type; scripts get the code for what cannot be done."""
    code = main([])
    said = capsys.readouterr().err

    assert code == 2
    assert "Start with: sidecar rehearse" in said
    assert [name for name in COMMANDS if f"\n  {name}" not in said and f"\n    {name} " not in said] == []


def test_an_unknown_option_is_refused_by_its_command(refused):
    """One line, with the option, and the help that lists the right ones."""
    assert (
        refused("check", "--bogus", "mix.wav")
        == "sidecar check: --bogus is not an option of sidecar check. See: sidecar check --help\n"
    )


def test_a_command_that_is_none_is_refused_with_those_there_are(refused):
    """One line, with the word that was typed."""
    said = refused("chek", "mix.wav")

    assert "'chek'" in said
    assert "'check'" in said


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        (("check", "--jobs", "two", "mix.wav"), "--jobs: 'two' is no whole number"),
        (("live", "--osc-port", "9.5"), "--osc-port: '9.5' is no whole number"),
        (("live", "--for", "soon"), "--for: 'soon' is no number"),
        (("live", "--for", "nan"), "--for: 'nan' is no time"),
        (("live", "--patience", "inf"), "--patience: 'inf' is no time"),
        (("live", "--for", "-1"), "--for: '-1' is no time: give more than 0 seconds"),
        (("listen", "--for", "0"), "--for: '0' is no time: give more than 0 seconds"),
    ],
)
def test_what_is_no_number_is_told_without_jargon(refused, typed, said):
    """The option and the value; NaN and infinity are times that never end and impossible gains."""
    assert said in refused(*typed)


def test_a_mistyped_option_is_one_line_in_a_real_process():
    """Usage is not printed over it, which for ``live`` would be 16 lines."""
    done = subprocess.run(
        [sys.executable, "-m", "sidecar", "live", "--devise"], check=False, capture_output=True, text=True
    )

    assert done.returncode == 2
    assert (
        done.stderr == "sidecar live: --devise is not an option of sidecar live. See: sidecar live --help\n"
    )


def test_an_interrupt_while_the_options_are_read_is_no_fault(monkeypatch, capsys):
    """Ctrl-C right after return: the usual code, and nothing printed."""

    def interrupted():
        raise KeyboardInterrupt

    monkeypatch.setattr(sidecar.cli.arguments.parser, "make_parser", interrupted)

    assert main(["goals"]) == 130
    assert tuple(capsys.readouterr()) == ("", "")
