"""All that the program says, collected from its sources: sentences for people, and names for scripts.

python tests/language/said.py              each sentence with its place
python tests/language/said.py --errors     the messages of raised errors alone
python tests/language/said.py --names      each command, option, OSC address, JSON key and label
"""

from __future__ import annotations

import argparse
import ast
import re
import sys
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[2]
PAGES = (
    "README.md",
    "configs/README.md",
    *sorted(p.relative_to(ROOT).as_posix() for p in ROOT.glob("sidecar/*/README.md")),
)
FEWEST_WORDS = 3
"""A string of fewer words is a label or a key, no sentence."""


def sources() -> list[Path]:
    return sorted(file for room in ("sidecar", "tui") for file in (ROOT / room).rglob("*.py"))


def strings(node: ast.AST) -> Iterator[tuple[int, str]]:
    """Every string below *node* that is no docstring, with its line; parts that are filled in become {…}."""
    if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
        return
    text = _text(node)
    if text is not None:
        yield node.lineno, text
        return
    for child in ast.iter_child_nodes(node):
        yield from strings(child)


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


def sentences() -> Iterator[tuple[str, int, str]]:
    """File, line and text of every string that is a sentence or part of one."""
    for file in sources():
        tree = ast.parse(file.read_text(encoding="utf-8"))
        for line, text in strings(tree):
            if _is_prose(text):
                yield file.relative_to(ROOT).as_posix(), line, text


def errors() -> Iterator[tuple[str, int, str]]:
    """The message of each error that is raised with one of its own."""
    for file in sources():
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Raise) and isinstance(node.exc, ast.Call):
                for line, text in strings(node.exc):
                    if _is_prose(text):
                        yield file.relative_to(ROOT).as_posix(), line, text


def _is_prose(text: str) -> bool:
    words = re.findall(r"[A-Za-z][a-z’']+", text)
    looks_like_code = re.search(
        r"\b(SELECT|CREATE|INSERT|UPDATE|PRAGMA|DELETE|ALTER) |[{;]\s*\w+:|</?\w+|\\[a-z(]", text
    )
    return len(words) >= FEWEST_WORDS and " " in text and not looks_like_code


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("--errors", action="store_true")
    chosen = parser.parse_args()
    for name, line, text in errors() if chosen.errors else sentences():
        print(f"{name}:{line}: {' '.join(text.split())}")
    sys.exit(0)
