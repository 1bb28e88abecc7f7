"""An output that a run makes for the workstation to play into, and removes at its end."""

from __future__ import annotations

import json
import re
import select
import subprocess
from contextlib import suppress

from sidecar.errors import SourceError
from sidecar.sources.child import start_child
from sidecar.sources.output_process import OutputOrder

_ANSWER_LIMIT_S = 15.0
_REMOVE_LIMIT_S = 4.0
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,59}")


class TemporaryOutput:
    """Made at construction, kept by a process of its own, removed by :meth:`close` or this process's end."""

    name: str
    heard_on: str
    """The output that it is heard on; empty for none."""

    def __init__(self, order: OutputOrder) -> None:
        """Raises SourceError where it cannot be made."""
        if not _NAME.fullmatch(order.name):
            raise SourceError(
                f"An output's name has letters, digits, points, hyphens and underscores, not {order.name!r}."
            )
        self._process = start_child("sidecar.sources.output_process", order.to_json())
        answer = self._answer()
        if "made" not in answer:
            self.close()
            raise SourceError(answer.get("error") or "The sound server does not answer: restart it.")
        self.name, self.heard_on = answer["made"], answer["heard_on"]

    def close(self) -> None:
        """Removes the output; a hung server keeps it, and the next run removes it."""
        assert self._process.stdin
        assert self._process.stdout
        with suppress(OSError):
            self._process.stdin.close()
        try:
            self._process.wait(_REMOVE_LIMIT_S)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        self._process.stdout.close()

    def _answer(self) -> dict[str, str]:
        """What the process says first; nothing where it says nothing in time."""
        assert self._process.stdout
        if not select.select([self._process.stdout], [], [], _ANSWER_LIMIT_S)[0]:
            return {}
        with suppress(ValueError):
            said: dict[str, str] = json.loads(self._process.stdout.readline())
            return said
        return {}
