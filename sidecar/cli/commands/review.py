"""``sidecar review``: a pass on record, or a finished file, on the screen."""

from __future__ import annotations

import argparse
from pathlib import Path

from sidecar.cli.run.screen import check, show
from sidecar.cli.terminal.progress import ProgressCallback, each
from sidecar.cli.terminal.shutdown import ending
from sidecar.delivery.measure.whole_file import Measured, measure
from sidecar.errors import RecordError, SidecarError
from sidecar.journal import reader
from sidecar.run.review import Review, past_of_file, past_of_record
from sidecar.settings.goals import USUAL_GOAL, load_goal


def run(options: argparse.Namespace) -> int:
    """Shows it until the person quits."""
    check()
    review = _review(options)
    with ending(lambda: 0, has_screen=True) as asked:
        show(review, options, "past", lambda: asked.is_asked)
    return 0


def _review(options: argparse.Namespace) -> Review:
    goal = None if options.goal is None else load_goal(options.goal)
    if options.what is not None and not options.what.isdecimal():
        past = past_of_file(_measured(Path(options.what), options.layout))
        return Review(past, goal or load_goal(USUAL_GOAL))
    record = reader.latest() if options.what is None else reader.load(int(options.what))
    if record is None:
        raise RecordError("No pass on record yet. Give a sound file: sidecar review mix.wav")
    return Review(past_of_record(record), goal or record.summary.about.goal)


def _measured(path: Path, layout: str | None) -> Measured:
    """The file measured, with a bar while it lasts."""

    def work(_place: int, on_progress: ProgressCallback, workers: int) -> Measured:
        return measure(path, layout, on_progress, workers=workers)

    (found,) = each([path], work)
    if isinstance(found, SidecarError):
        raise found
    return found
