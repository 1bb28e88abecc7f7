"""Control of the process that plays the line-up tone: starts, commands and ends it."""

from __future__ import annotations

import json
import queue
import subprocess
import threading
from contextlib import suppress

from sidecar.doctor.tone_process import ToneOrder
from sidecar.errors import SourceError
from sidecar.sources.child import start_child

_ANSWER_LIMIT_S = 15.0
"""A cold machine with many devices needs several seconds to open one; longer is hung."""
_END_LIMIT_S = 0.4  # a killed process is gone at once, unless the kernel itself holds it


class TonePlayer:
    """Opens an output at construction and plays the tone on :meth:`play`."""

    def __init__(self, order: ToneOrder) -> None:
        """Raises SourceError where there is no such output or it cannot be opened like that."""
        self._process = start_child("sidecar.doctor.tone_process", order.to_json())
        self._answers: queue.SimpleQueue[dict[str, object]] = queue.SimpleQueue()
        self._reader = threading.Thread(target=self._read_answers, name="player", daemon=True)
        self._reader.start()
        try:
            self.output = str(self._next("output"))
        except SourceError:
            self.close()
            raise

    def play(self) -> None:
        """Starts the tone; returns at once."""
        assert self._process.stdin
        with suppress(OSError):  # it has ended, which began_s reports
            self._process.stdin.write(b"\n")
            self._process.stdin.flush()

    def began_s(self) -> float:
        """Returns when the tone began, on the monotonic clock. Raises SourceError where it did not."""
        return float(str(self._next("playing")))

    def close(self) -> None:
        self._process.kill()
        with suppress(subprocess.TimeoutExpired):
            self._process.wait(_END_LIMIT_S)
        self._reader.join(_END_LIMIT_S)
        if self._process.stdin:
            with suppress(OSError):
                self._process.stdin.close()

    def _next(self, what: str) -> object:
        try:
            answer = self._answers.get(timeout=_ANSWER_LIMIT_S)
        except queue.Empty:
            answer = {}
        if what not in answer:
            reason = answer.get("error") or "The sound system does not answer: restart it."
            raise SourceError(f"The tone cannot be played. {reason}")
        return answer[what]

    def _read_answers(self) -> None:
        assert self._process.stdout
        with self._process.stdout as lines:
            for line in lines:
                with suppress(ValueError):  # a line that its end cut short
                    self._answers.put(json.loads(line))
        self._answers.put({"error": f"Its process ended (exit status {self._process.wait()})."})
