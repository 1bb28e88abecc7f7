"""Where the reports of a check go, and writing them there."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from importlib.util import find_spec
from pathlib import Path, PurePath

import numpy as np

from sidecar.delivery.judge.checking import Checked, Outcome, known_by
from sidecar.delivery.measure.dialogue import FileDialogue
from sidecar.delivery.measure.whole_file import Measured
from sidecar.delivery.report.history_sheet import history_sheet
from sidecar.delivery.report.index import index_page
from sidecar.delivery.report.page import file_page
from sidecar.delivery.report.sheet import Sheet
from sidecar.delivery.report.signature import Signature
from sidecar.errors import MissingPackage, OutputError, SettingsError
from sidecar.model.readings import BLOCK_S, SILENCE
from sidecar.settings.goals import Goal
from sidecar.storage.atomic_file import write_whole

_PIXELS_PER_UNIT = 2.0


class Reports:
    """What is written of a check. For one file each part has the name that was asked for; for several it
    lies in a folder of that name without its ending, and the page of that name is the index."""

    def __init__(
        self,
        files: Sequence[str],
        signature: Signature,
        *,
        page: Path | None = None,
        plot: Path | None = None,
        history: Path | None = None,
        unlisted: int = 0,
    ) -> None:
        """unlisted: files besides, which meet every goal and of which nothing is written.

        Raises SettingsError for a name that does not say what is asked for, OutputError for a folder that is
        not there, MissingPackage for a picture that cannot be drawn here: before anything is measured."""
        _refuse_unusable(page, plot, history)
        self._signature = signature
        self._asked = [path for path in (plot, history) if path]
        self._index = page
        self._unlisted = unlisted
        self._several = len(files) + unlisted > 1
        self._pages, self._plots, self._histories = (
            names_for(path, files, several=self._several) if path else [] for path in (page, plot, history)
        )

    def write_report(self, place: int, checked: Checked) -> None:
        """What is written of one file: the one at this place.

        Raises SourceError when it is not the file any more that was measured, OutputError when nothing can
        be written there.
        """
        if self._index:
            page = self._pages[place]
            index = "" if page == self._index else f"../{self._index.name}"
            _write(page, file_page(checked, known_by(checked), self._signature, index).encode())
        if self._plots:
            write_plot(self._plots[place], checked)
        if self._histories:
            write_history(self._histories[place], checked.measured, checked.dialogue)

    def write_index(self, outcomes: Sequence[Outcome], goals: Sequence[Goal]) -> list[Path]:
        """Writes the index; gives where to look for what was written."""
        any_checked = any(isinstance(outcome, Checked) for outcome in outcomes)
        own = [path.with_suffix("") if self._several else path for path in self._asked] if any_checked else []
        own = list(dict.fromkeys(own))  # plot and history may share a folder
        if not self._index:
            return own
        if self._several or not any_checked:
            links = [page.relative_to(self._index.parent).as_posix() for page in self._pages]
            index = index_page(outcomes, links, goals, self._signature, self._unlisted)
            _write(self._index, index.encode())
        return [self._index, *own]


def _refuse_unusable(page: Path | None, plot: Path | None, history: Path | None) -> None:
    for option, path, endings in (
        ("--report", page, (".html", ".htm")),
        ("--plot", plot, (".png", ".svg")),
        ("--csv", history, (".csv",)),
    ):
        if path is None:
            continue
        if path.suffix.lower() not in endings:
            wanted = " or ".join(endings)
            raise SettingsError(f"{option} {path} must end in {wanted}: that says what is written.")
        if not path.parent.is_dir():
            raise OutputError(f"{option} {path}: there is no folder {path.parent}. Make it first.")
    if plot is not None and plot.suffix.lower() == ".png" and find_spec("resvg_py") is None:
        raise MissingPackage(
            "A PNG needs the renderer that comes with: pip install 'loudness-sidecar[report]'. "
            "Without it, ask for a drawing that ends in .svg."
        )


def names_for(asked: Path, files: Sequence[str], *, several: bool) -> list[Path]:
    """Where each file's own part lies, none twice. several: they, or they and others, are more than one."""
    if not several:
        return [asked]
    folder, taken, places = asked.with_suffix(""), set[str](), []
    for file in files:
        name, count = PurePath(file).name, 1
        stem = name
        while stem.casefold() in taken:
            count += 1
            stem = f"{name}-{count}"
        taken.add(stem.casefold())
        places.append(folder / f"{stem}{asked.suffix}")
    return places


def write_plot(place: Path, checked: Checked) -> None:
    """The history as SVG, or as PNG rendered from it."""
    verdict = checked.verdicts[0]
    outcome = "meets" if verdict.passes else "does not meet"
    heading = f"{PurePath(checked.file).name}: {outcome} {verdict.goal.title}"
    sheet = history_sheet(checked.measured, verdict, heading, checked.dialogue)
    _write(place, _rendered(sheet) if place.suffix.lower() == ".png" else sheet.svg(alone=True).encode())


def write_history(place: Path, measured: Measured, dialogue: Sequence[FileDialogue] = ()) -> None:
    """The history as comma-separated values, ten rows a second; silence is an empty cell, and so is what
    comes before the first whole window. Where dialogue was measured, a last column is 1 in it, else 0."""
    history = measured.history
    in_dialogue = np.zeros(len(history.energy), int)
    for first, stop in (span for each in dialogue for span in each.spans):
        in_dialogue[first:stop] = 1
    peaks = [f"true_peak_{k + 1}_dbtp" for k in range(measured.channels)]
    text = io.StringIO(newline="")
    table = csv.writer(text, lineterminator="\n")
    table.writerow(
        ["seconds", "momentary_lufs", "short_term_lufs", *peaks, *(["dialogue"] if dialogue else [])]
    )
    levels = np.column_stack([history.momentary, history.short_term, history.true_peak])
    for block, row in enumerate(levels.tolist()):
        cells = ["" if level == SILENCE else f"{level:.2f}" for level in row]
        flags = [in_dialogue[block]] if dialogue else []
        table.writerow([f"{(block + 1) * BLOCK_S:.1f}", *cells, *flags])
    _write(place, text.getvalue().encode())


def _rendered(sheet: Sheet) -> bytes:
    import resvg_py

    # Named families that are not there fall back to what is.
    return resvg_py.svg_to_bytes(svg_string=sheet.svg(alone=True), zoom=_PIXELS_PER_UNIT)


def _write(place: Path, content: bytes) -> None:
    try:
        place.parent.mkdir(exist_ok=True)
        write_whole(place, content)
    except OSError as error:
        raise OutputError(f"{place} cannot be written: {error.strerror}. Choose another place.") from error
