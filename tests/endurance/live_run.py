"""A whole run in a process of its own, and what it says, each line with the time at which it arrived."""

import json
import resource
import subprocess
import sys
import threading
import time
from dataclasses import dataclass

_LINES = ("--no-screen", "--json", "--osc-port", "0")
LIMIT_S = 120.0  # the first run on a machine compiles the meter


@dataclass(frozen=True)
class Said:
    at_s: float
    """On the monotonic clock."""
    line: dict


class LiveRun:
    """``sidecar`` without a screen, in lines of JSON. Use it as a context manager: it ends with the block."""

    def __init__(self, command, *arguments, descriptors=None):
        """descriptors: the most that the process may have open; as many as this one where None."""
        self.process = subprocess.Popen(
            [sys.executable, "-m", "sidecar", command, *_LINES, *arguments],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        if descriptors:
            resource.prlimit(self.process.pid, resource.RLIMIT_NOFILE, (descriptors, descriptors))
        self.said = []
        self._listener = threading.Thread(target=self._listen, daemon=True)
        self._listener.start()

    def __enter__(self):
        return self

    def __exit__(self, *_error):
        self.process.kill()
        self.process.communicate()

    def lines(self, kind):
        """All of that type so far."""
        return [said.line for said in tuple(self.said) if said.line["type"] == kind]

    def wait_for(self, enough, limit_s=LIMIT_S):
        """The first that is said from now on, or was the last to be said, for which *enough* is true."""
        at, end_s = max(0, len(self.said) - 1), time.monotonic() + limit_s
        while time.monotonic() < end_s:
            while at < len(self.said):
                if enough(self.said[at].line):
                    return self.said[at]
                at += 1
            ended = self.process.poll()
            assert ended is None or at < len(self.said), f"the run ended with {ended}: {self.errors()}"
            time.sleep(0.01)
        raise AssertionError(f"it was never said; the last was {self.said[-1:]}")

    def wait_for_progress(self, limit_s=LIMIT_S):
        """The first reading that has measured more than the last one so far."""
        seconds = max((line["seconds"] for line in self.lines("reading")), default=0.0)
        return self.wait_for(lambda line: line["type"] == "reading" and line["seconds"] > seconds, limit_s)

    def end(self, limit_s=30.0):
        """Asks it to end, as Ctrl-C does; gives the exit code and what it complained of."""
        self.process.send_signal(2)
        return self.ended(limit_s)

    def ended(self, limit_s=30.0):
        """Waits for its end; gives the exit code and what it complained of."""
        code = self.process.wait(limit_s)
        self._listener.join(limit_s)
        return code, self.errors()

    def errors(self):
        return self.process.stderr.read()

    def _listen(self):
        for text in self.process.stdout:
            if not text.endswith("\n"):  # the run was killed within a line
                return
            self.said.append(Said(time.monotonic(), json.loads(text)))
