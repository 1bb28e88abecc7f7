"""What ``sidecar check --archive`` prints at the end: what fails, what could not be read, and the sum."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path, PurePath

from rich.console import Console
from rich.text import Text

from sidecar.delivery.judge.checking import Checked, Outcome, Unread
from sidecar.delivery.judge.dialogue_note import dialogue_figures
from sidecar.delivery.judge.findings import MARKS
from sidecar.delivery.judge.verdict import findings_by_goal
from sidecar.model.foreign_text import printable
from sidecar.model.units import figure, percent
from sidecar.settings.goals import Goal


@dataclass(slots=True)
class Count:
    """The outcomes by kind."""

    passed: int = 0
    failing: list[int] = field(default_factory=list)
    """Their places."""
    unread: list[int] = field(default_factory=list)

    @property
    def files(self) -> int:
        return self.passed + len(self.failing) + len(self.unread)

    def add(self, place: int, outcome: Outcome) -> None:
        if isinstance(outcome, Unread):
            self.unread.append(place)
        elif outcome.passes:
            self.passed += 1
        else:
            self.failing.append(place)


def print_outcomes(outcomes: Iterable[Outcome], goals: Sequence[Goal]) -> None:
    """A line for each file that fails, with the worst in it, and for each of which the dialogue was measured;
    then one for each that could not be read."""
    console = Console(highlight=False)
    console.soft_wrap = not console.is_terminal  # a line a file, which can be searched
    for goal in goals:
        console.print(f"{goal.title}: {figure(goal.target_lufs)} {goal.unit}", markup=False)
    unread = []
    for outcome in outcomes:
        if isinstance(outcome, Unread):
            unread.append(_named(outcome))
        elif not outcome.passes:
            name = printable(outcome.file)
            console.print(
                Text.assemble(f"{MARKS['fault']} ", (name, "bold"), f": {printable(_worst(outcome))}")
            )
        if isinstance(outcome, Checked) and outcome.dialogue:
            console.print(_dialogue(outcome, goals[0].unit))
    for error in unread:
        console.print(Text(f"? {printable(error)}"))


def print_count(count: Count, written: Sequence[Path]) -> None:
    """The sum, and where the pages are."""
    files = "1 file" if count.files == 1 else f"{count.files:,} files"
    broken = f"{len(count.unread):,} could not be read"
    print(f"{files}: {count.passed:,} pass, {len(count.failing):,} fail, {broken}.")
    print("".join(f"Written: {printable(str(path))}\n" for path in written), end="")


def _named(broken: Unread) -> str:
    """Returns the reason with the file's name in front, unless it contains that already."""
    name = PurePath(broken.file).name
    return broken.error if name in broken.error else f"{broken.file}: {broken.error}"


def _dialogue(checked: Checked, unit: str) -> Text:
    """Its dialogue loudness, and how much of the time automatic detection found speech in."""
    found = checked.dialogue[0].loudness
    figures = f"{dialogue_figures(found, unit)}, speech in {percent(found.speech_share)} (automatic)"
    if found.is_measured and not found.is_sure:
        figures += ": low confidence"
    return Text.assemble(f"{MARKS['note']} ", (printable(checked.file), "bold"), f": {figures}")


def _worst(checked: Checked) -> str:
    """The first fault, and how much more there is."""
    found = list(findings_by_goal(checked.verdicts))
    goal, first = next(pair for pair in found if pair[1].kind == "fault")
    more = sum(finding.kind != "remedy" for _, finding in found) - 1
    words = f"{goal}: {first.sentence}" if goal else first.sentence
    return f"{words} (+{more})" if more else words
