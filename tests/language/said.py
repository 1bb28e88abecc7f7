"""All that the program says, collected from its sources: sentences for people, and names for scripts.

python tests/language/said.py                  each sentence with its place
python tests/language/said.py --errors         the messages of raised errors alone
python tests/language/said.py --names          each command, option, OSC address, JSON key and key label
python tests/language/said.py --lengths        words a sentence: median, longest, and the longest sentences
python tests/language/said.py --lengths --root OTHER_COPY
"""

from __future__ import annotations

import argparse
import ast
import re
import statistics
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parents[2]
FEWEST_WORDS = 3
"""A string of fewer words is a label or a key, no sentence."""
GROUPS = ("pages", "help", "screen", "messages", "table")
_CODE = re.compile(
    r"\b(SELECT|CREATE|INSERT|UPDATE|PRAGMA|DELETE|ALTER) |[{;]\s*\w+:|</?\w+|\\[a-z(]"
    r"| on \S+ bold|=\{…\} \w+="
)
_MADE_UP = ("sidecar/sources/rehearsal/",)
"""Lines of an invented tongue, and scores."""


@dataclass(frozen=True)
class Said:
    """One sentence or phrase and its place."""

    file: str
    line: int
    text: str
    is_cell: bool = False
    """In a table of a page, where a cell may list fields."""

    @property
    def group(self) -> str:
        if self.is_cell:
            return "table"
        if self.file.endswith(".md"):
            return "pages"
        if self.file.startswith("sidecar/cli/arguments/"):
            return "help"
        if self.file.startswith("sidecar/osc/table/"):
            return "table"
        return "screen" if self.file.startswith("tui/") else "messages"


@cache
def texts(root: Path = ROOT) -> tuple[Said, ...]:
    """Every string of the sources that is prose, and every paragraph, item and cell of the pages."""
    return tuple(_texts(root))


def _texts(root: Path) -> Iterator[Said]:
    for file in _sources(root):
        for line, text in _strings(_parsed(file)):
            if _is_prose(text):
                yield Said(file.relative_to(root).as_posix(), line, " ".join(text.split()))
    for page in _pages(root):
        yield from _paragraphs(page, page.relative_to(root).as_posix())


def errors(root: Path = ROOT) -> Iterator[Said]:
    """The message of each error that is raised with one of its own."""
    for file in _sources(root):
        for node in ast.walk(_parsed(file)):
            if isinstance(node, ast.Raise) and isinstance(node.exc, ast.Call):
                for line, text in _strings(node.exc):
                    if _is_prose(text):
                        yield Said(file.relative_to(root).as_posix(), line, " ".join(text.split()))


@cache
def sentences(root: Path = ROOT) -> tuple[Said, ...]:
    """The texts, split where a sentence ends."""
    return tuple(_sentences(root))


def _sentences(root: Path) -> Iterator[Said]:
    for said in texts(root):
        for sentence in re.split(
            r"(?<=[.!?…])[\"')*]*\s+(?=[\"'(A-Z0-9{−✓✗`*\[-])|(?<=\w): (?=[A-Z])", said.text
        ):
            if word_count(sentence) >= FEWEST_WORDS:
                yield Said(said.file, said.line, sentence, said.is_cell)


def word_count(text: str) -> int:
    """Words of a sentence; figures, options and what is filled in count as words, signs do not."""
    return len(re.findall(r"[\w{][^\s]*", text))


def names() -> Iterator[tuple[str, str]]:
    """Kind and name of each command, option, OSC address, group, JSON key and key label."""
    from sidecar.cli.arguments.parser import make_parser
    from sidecar.osc.table.addresses import INCOMING, SENT
    from sidecar.osc.table.exchange import ANSWERS, SERVICES
    from tui.keys import KEYS

    parser = make_parser()
    (commands,) = (a for a in parser._actions if isinstance(a, argparse._SubParsersAction))
    for command, made in commands.choices.items():
        yield "command", command
        yield from (("option", f"{command} {o}") for a in made._actions for o in a.option_strings)
    yield from (("address sent", row.path) for row in SENT)
    yield from (("address received", row.path) for row in (*INCOMING, *SERVICES))
    yield from (("address answered", row.path) for row in ANSWERS)
    yield from (("key", f"{key.key_display or key.key}  {key.description}") for key in KEYS)
    for file in (
        "sidecar/cli/run/lines.py",
        "sidecar/cli/results/check_json.py",
        "sidecar/journal/export.py",
    ):
        yield from (("JSON key", key) for key in sorted(_json_keys(_parsed(ROOT / file))))


def _json_keys(tree: ast.AST) -> set[str]:
    keys = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Dict):
            keys |= {k.value for k in node.keys if isinstance(k, ast.Constant) and isinstance(k.value, str)}
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "_print_object":
            keys |= {word.arg for word in node.keywords if word.arg}
    return keys


def _pages(root: Path) -> list[Path]:
    named = ("README.md", "DEVELOPERS.md", "configs/README.md", "tui/README.md")
    return [page for page in (root / name for name in named) if page.exists()] + sorted(
        root.glob("sidecar/*/README.md")
    )


def _sources(root: Path) -> list[Path]:
    found = sorted(file for room in ("sidecar", "tui") for file in (root / room).rglob("*.py"))
    return [file for file in found if not file.relative_to(root).as_posix().startswith(_MADE_UP)]


def _parsed(file: Path) -> ast.AST:
    return ast.parse(file.read_text(encoding="utf-8"))


def _strings(node: ast.AST) -> Iterator[tuple[int, str]]:
    """Every string below *node* that is no docstring, with its line; what is filled in becomes {…}."""
    if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
        return
    text = _text(node)
    if text is not None and isinstance(node, ast.expr):
        yield node.lineno, text
        return
    for child in ast.iter_child_nodes(node):
        yield from _strings(child)


def _text(node: ast.AST) -> str | None:
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        return "".join(_text(part) or "{…}" for part in node.values)
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add):
        left, right = _text(node.left), _text(node.right)
        if left is not None or right is not None:
            return f"{left or '{…}'}{right or '{…}'}"
    return None


def _is_prose(text: str) -> bool:
    is_example = text.startswith("sidecar ") and "\n" in text
    words = re.findall(r"[A-Za-z][a-z’']+", text)
    return len(words) >= FEWEST_WORDS and " " in text and not is_example and not _CODE.search(text)


def _paragraphs(page: Path, name: str) -> Iterator[Said]:
    """Each paragraph, list item and table cell; code blocks and headings are left out."""
    lines: list[str] = []
    began = 0
    is_code = False
    for number, line in enumerate([*page.read_text(encoding="utf-8").splitlines(), ""], 1):
        if line.startswith("```"):
            is_code = not is_code
        is_end = not line.strip() or line.startswith(("```", "#", "* ", "- ", "|", "> ")) or is_code
        if is_end and lines:
            yield Said(name, began, " ".join(lines))
            lines = []
        if line.startswith("|") and not is_code and not set(line) <= set("|- :"):
            yield from (
                Said(name, number, cell.strip(), is_cell=True)
                for cell in line.strip("|").split("|")
                if cell.strip()
            )
        elif line.strip() and not is_code and not line.startswith(("```", "#", "|")):
            began = began if lines else number
            lines.append(line.lstrip("*-> ").strip())


def _print_lengths(root: Path) -> None:
    every = list(sentences(root))
    for group in (*GROUPS, "all"):
        counts = sorted(word_count(s.text) for s in every if group in (s.group, "all"))
        if counts:
            over = sum(count > 20 for count in counts) / len(counts)
            print(
                f"{group:9} {len(counts):5} sentences, median {statistics.median(counts):g} words, "
                f"longest {counts[-1]}, {100 * over:.1f} % over 20"
            )
    for said in sorted(every, key=lambda s: -word_count(s.text))[:25]:
        print(f"{word_count(said.text):3}  {said.file}:{said.line}: {said.text}")


def main() -> None:
    parser = argparse.ArgumentParser()
    for option in ("errors", "names", "lengths"):
        parser.add_argument(f"--{option}", action="store_true")
    parser.add_argument("--root", type=Path, default=ROOT)
    chosen = parser.parse_args()
    if chosen.lengths:
        _print_lengths(chosen.root)
    elif chosen.names:
        for kind, name in names():
            print(f"{kind:16} {name}")
    else:
        for said in errors(chosen.root) if chosen.errors else texts(chosen.root):
            print(f"{said.file}:{said.line}: {said.text}")


if __name__ == "__main__":
    main()
