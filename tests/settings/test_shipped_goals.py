"""The goals that come with the program, held against the documents they are named after.

Figures are transcribed from: EBU R 128 V5 h), i), m); R 128 s1, s2 and s4 as Tech 3343 V4 §9.1, §9.2 and §9.4
give them; ATSC A/85:2013, ITU-R BS.1864, Free TV Australia OP-59, ARIB TR-B32 1.6 and AES TD1008 (2021) from
secondary sources, their clauses not seen. "From memory" marks a figure of a document that was not checked.
"""

from __future__ import annotations

import re
from math import inf

import pytest

from sidecar.settings.goals import load_goal
from sidecar.settings.locations import shipped_configs

FROM_MEMORY = "from memory, check before relying on it"
NO_SOURCE = "common practice, no source"
OURS = "ours"

# Name: unit; target, tolerance below and above, ceiling, maximum of short-term: each with words that the
# comment beside it in the file must have.
TABLE = {
    "r128": (
        "LUFS",
        (-23.0, "R 128 V5 h)"),
        (0.2, 0.2, "R 128 V5 i)"),
        (-1.0, "R 128 V5 m)"),
        (None, ""),
    ),
    "r128-live": (
        "LUFS",
        (-23.0, "R 128 V5 h)"),
        (1.0, 1.0, "R 128 V5 h)"),
        (-1.0, "R 128 V5 m)"),
        (None, ""),
    ),
    "r128-s1": (
        "LUFS",
        (-23.0, "§9.1"),
        (0.2, 0.2, "R 128 V5 i)"),
        (-1.0, "§9.1"),
        (-18.0, "§9.1"),
    ),
    "r128-s4": ("LUFS", (-23.0, "§9.4"), (0.2, 0.2, "R 128 V5 i)"), (-1.0, "§9.4"), (None, "")),
    "r128-s2": ("LUFS", (-18.0, OURS), (2.0, 2.0, "§9.2"), (-1.0, OURS), (None, "")),
    "a85": ("LKFS", (-24.0, "A/85"), (2.0, 2.0, "A/85"), (-2.0, FROM_MEMORY), (None, "")),
    "bs1864": ("LKFS", (-24.0, "BS.1864"), (0.2, 0.2, OURS), (-2.0, FROM_MEMORY), (None, "")),
    "op59": ("LKFS", (-24.0, "OP-59"), (1.0, 1.0, FROM_MEMORY), (-2.0, FROM_MEMORY), (None, "")),
    "tr-b32": ("LKFS", (-24.0, "TR-B32"), (1.0, 1.0, "TR-B32"), (-1.0, FROM_MEMORY), (None, "")),
    "aes-speech": ("LUFS", (-18.0, "TD1008"), (0.2, 0.2, OURS), (-1.0, FROM_MEMORY), (None, "")),
    "aes-track": ("LUFS", (-16.0, "TD1008"), (inf, 0.2, "TD1008"), (-1.0, FROM_MEMORY), (None, "")),
    "aes-album": ("LUFS", (-14.0, "TD1008"), (inf, 0.2, OURS), (-1.0, FROM_MEMORY), (None, "")),
    "premaster": ("LUFS", (-18.0, NO_SOURCE), (1.0, 1.0, OURS), (-5.0, NO_SOURCE), (None, "")),
    "spoken": ("LUFS", (-16.0, NO_SOURCE), (1.0, 1.0, OURS), (-1.0, OURS), (None, "")),
}
SOURCE = re.compile(
    r"EBU R 128|EBU Tech 33\d\d|ATSC A/85|ITU-R BS\.1864|OP-59|ARIB TR-B32|AES TD1008"
    rf"|\b{OURS}\b|{NO_SOURCE}"
)
FOLDER = shipped_configs() / "goals"
FILES = sorted(FOLDER.glob("*.toml"))
FIGURE = re.compile(r"^(?P<key>\w+) *= *[-+{0-9in][^#]*(?P<comment>#.*)?$")


def figures(name: str) -> dict[str, str]:
    """Key and comment of each line of a goal's file that sets a figure."""
    lines = (FOLDER / f"{name}.toml").read_text(encoding="utf-8").splitlines()
    found = (FIGURE.match(line) for line in lines)
    return {match["key"]: match["comment"] or "" for match in found if match}


def test_the_files_are_the_table():
    """No goal is shipped without having been transcribed here, and none is missing."""
    assert sorted(TABLE) == sorted(path.stem for path in FILES)


@pytest.mark.parametrize("name", TABLE)
def test_the_figures_are_those_of_the_document(name):
    """Target, tolerance, ceiling and short-term limit read as the document gives them."""
    unit, (target, _), (below, above, _), (ceiling, _), (max_short_term, _) = TABLE[name]

    goal = load_goal(FOLDER / f"{name}.toml")

    assert (unit, target, below, above, ceiling, max_short_term) == (
        goal.unit,
        goal.target_lufs,
        goal.tolerance_below_lu,
        goal.tolerance_above_lu,
        goal.ceiling_dbtp,
        goal.max_short_term_lufs,
    )
    assert (goal.max_momentary_lufs, goal.range_guide_lu) == (None, None)


@pytest.mark.parametrize("name", TABLE)
def test_the_comments_name_where_the_figures_come_from(name):
    """Clause, memory, practice or our own choice: the comment says what this table says."""
    _, (_, target), (*_, tolerance), (_, ceiling), (_, max_short_term) = TABLE[name]
    comments = figures(name)

    assert target in comments["target_lufs"]
    assert tolerance in comments["tolerance_lu"]
    assert ceiling in comments["ceiling_dbtp"]
    assert max_short_term in comments.get("max_short_term_lufs", "")


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_each_figure_has_a_source_beside_it(path):
    """A file says of each number whether to trust it."""
    comments = figures(path.stem)

    assert {"target_lufs", "tolerance_lu", "ceiling_dbtp", "hot_lufs"} <= comments.keys()
    assert [key for key, comment in comments.items() if not SOURCE.search(comment)] == []


@pytest.mark.parametrize("name", TABLE)
def test_the_hot_line_is_the_top_of_the_comfort_zone(name):
    """Listeners are at ease up to about 3 LU above the target (Tech 3343 §3.5.2): hot starts there."""
    goal = load_goal(FOLDER / f"{name}.toml")

    assert (goal.target_lufs + 3.0, 1.0) == (goal.hot_lufs, goal.hot_hold_s)


def test_one_file_explains_every_key():
    """Who copies r128.toml finds each key a goal may have, set or in a comment."""
    text = (FOLDER / "r128.toml").read_text(encoding="utf-8")
    keys = set(re.findall(r"^(?:# )?(\w+) = ", text, flags=re.MULTILINE))

    assert keys == {
        *("title", "target_lufs", "tolerance_lu", "ceiling_dbtp", "hot_lufs", "hot_hold_s", "source"),
        *("max_short_term_lufs", "max_momentary_lufs", "range_guide_lu", "dialogue_lufs", "ldr_lu", "unit"),
    }


def test_the_keys_in_comments_work_when_they_are_taken_in(tmp_path):
    """The optional lines of r128.toml are an example that runs, not only prose."""
    text = (FOLDER / "r128.toml").read_text(encoding="utf-8")
    path = tmp_path / "mine.toml"
    path.write_text(re.sub(r"^# (\w+ = \S+) .*$", r"\1", text, flags=re.MULTILINE), encoding="utf-8")

    goal = load_goal(path)

    assert (goal.max_short_term_lufs, goal.max_momentary_lufs, goal.range_guide_lu) == (-18.0, -15.0, 15.0)
    assert (goal.least_dialogue_lufs, goal.most_dialogue_lufs, goal.ldr_guide_lu) == (-28.0, -23.0, 5.0)


def test_only_the_cinematic_goal_guides_the_dialogue():
    # Source: EBU R 128 s4 as Tech 3343 V4 §9.4 gives it; no other shipped goal has a figure that is cited.
    guides = {name: load_goal(FOLDER / f"{name}.toml") for name in TABLE}
    found = {
        name: (goal.least_dialogue_lufs, goal.most_dialogue_lufs, goal.ldr_guide_lu)
        for name, goal in guides.items()
        if (goal.least_dialogue_lufs, goal.most_dialogue_lufs, goal.ldr_guide_lu) != (None, None, None)
    }

    assert found == {"r128-s4": (-28.0, -23.0, 5.0)}
    assert "§9.4" in figures("r128-s4")["ldr_lu"]
