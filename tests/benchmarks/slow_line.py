"""The screen at 120 × 40 on lines of 20 and 5 KB/s: how old what is shown gets, how long a key takes, what is
sent. The programme moves all the time; the first seconds, in which the screen is built, are counted apart.

Run: python tests/benchmarks/slow_line.py
"""

import sys
import time
from pathlib import Path
from statistics import median

sys.path.insert(0, str(Path(__file__).parent.parent / "tui"))

from slow_terminal import SlowTerminal

SETTLE_S, FOR_S, PRESSES = 8.0, 30.0, 10


def main():
    for bytes_per_s in (1_000_000, 20_000, 5_000):
        with SlowTerminal(bytes_per_s) as terminal:
            first_s = terminal.read_until(lambda it: it.drawn_s() > 0.0, "the first drawing")
            watch(terminal, SETTLE_S)
            before, ages_s = terminal.read_bytes, watch(terminal, FOR_S)
            sent = (terminal.read_bytes - before) / FOR_S
            unit_s = [pressed(terminal, "u", unit_changed(terminal)) for _ in range(PRESSES)]
            help_s = [pressed(terminal, key, condition) for key, condition in (OPENED, CLOSED) * 3]
        print(
            f"{bytes_per_s / 1000:g} KB/s: {sent / 1000:.1f} KB/s sent, first drawing after {first_s:.1f} s"
        )
        print(f"  shown: at most {max(ages_s):.2f} s old, median {median(ages_s):.2f} s")
        print(f"  a key that changes rows: at most {max(unit_s):.2f} s, median {median(unit_s):.2f} s")
        print(f"  the help, a whole screen: at most {max(help_s):.2f} s", flush=True)


OPENED = ("h", lambda terminal: "esc Back" in terminal.text())
CLOSED = ("\x1b", lambda terminal: "esc Back" not in terminal.text() and "Marker" in terminal.text())


def unit_changed(terminal):
    before = terminal.text().count("LUFS")
    return lambda it: (it.text().count("LUFS") < before) if before > 3 else (it.text().count("LUFS") > 3)


def pressed(terminal, key, condition):
    """Seconds from a key to its answer."""
    terminal.press(key)
    took_s = terminal.read_until(condition, f"the answer to {key!r}")
    watch(terminal, 1.0)
    return took_s


def watch(terminal, for_s):
    """The ages of what is shown, all through *for_s*."""
    end_s, ages_s = time.monotonic() + for_s, []
    while time.monotonic() < end_s:
        terminal.read()
        ages_s.append(time.monotonic() - terminal.drawn_s())
    return ages_s


if __name__ == "__main__":
    main()
