"""Settings files: TOML found by name, read whole, checked key by key, and refused in words.

A *kind* is what one file describes, ``goal``, ``surface`` or ``light``; its files lie in the folder of its
plural.
"""

from __future__ import annotations

import os
import tomllib
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any, TypeVar

from sidecar.errors import SettingsError
from sidecar.settings.locations import own_configs, shipped_configs

Setting = TypeVar("Setting")
Word = TypeVar("Word", bound=str)

_NOT_IN_ADDRESSES = frozenset(" #*,?[]{}")  # OSC 1.0, "OSC Address Spaces"


def find(kind: str, name_or_path: str | Path) -> Path:
    """The file of this name, or this file itself (a Path, or text with a separator or ``.toml``).

    Raises SettingsError when there is no such name.
    """
    text = str(name_or_path)
    if isinstance(name_or_path, Path) or text.endswith(".toml") or "/" in text or os.sep in text:
        return Path(name_or_path)
    return find_named(kind, text)


def find_named(kind: str, name: str) -> Path:
    """The file of this name, the person's own before a shipped one. Never takes a path, so it is safe
    with names that come over the network.

    Raises SettingsError when there is no such name.
    """
    known = files(kind)
    if name in known:
        return known[name]
    raise SettingsError(
        f"There is no {kind} {name!r}.{nearest(name, known)} There are: {', '.join(known)}. "
        f"Your own go into {own_configs() / f'{kind}s'}, one file each, as NAME.toml."
    )


def files(kind: str) -> dict[str, Path]:
    """Files by name, in the order of the names; the person's own replace shipped ones."""
    folders = (shipped_configs() / f"{kind}s", own_configs() / f"{kind}s")
    found = {path.stem: path for folder in folders for path in folder.glob("[!.]*.toml")}
    return dict(sorted(found.items()))


def load_all(kind: str, load: Callable[[Path], Setting]) -> tuple[list[Setting], list[SettingsError]]:
    """Every file of a kind that can be used, and what is wrong with each of the others."""
    usable: list[Setting] = []
    faults: list[SettingsError] = []
    for path in files(kind).values():
        try:
            usable.append(load(path))
        except SettingsError as fault:
            faults.append(fault)
    return usable, faults


def read(kind: str, path: Path, required: tuple[str, ...], optional: tuple[str, ...]) -> dict[str, Any]:
    """The keys and values of a file. Raises SettingsError when it cannot be read, or when a key is
    missing or unknown."""
    return keys(path, kind, parsed(path), required, optional)


def keys(
    path: Path, kind: str, table: dict[str, Any], required: tuple[str, ...], optional: tuple[str, ...]
) -> dict[str, Any]:
    """*table* where its keys are those of a *kind*. Raises SettingsError when one is missing or unknown."""
    for key in table:
        if key not in required + optional:
            allowed = ", ".join(required + optional)
            near = nearest(key, required + optional)
            raise SettingsError(f"{path}: a {kind} has no key {key!r}.{near} The keys are: {allowed}.")
    for key in required:
        if key not in table:
            raise SettingsError(f"{path}: {key} is missing. A {kind} needs: {', '.join(required)}.")
    return table


def parsed(path: Path) -> dict[str, Any]:
    """What a file holds. Raises SettingsError when it cannot be read."""
    try:
        # Editors on some systems put a byte-order mark in front, which TOML does not know.
        return tomllib.loads(path.read_bytes().decode("utf-8-sig"))
    except OSError as error:
        raise SettingsError(
            f"{path}: cannot be read ({error.strerror}). Check that the file exists and that you may read it."
        ) from error
    except UnicodeDecodeError as error:
        raise SettingsError(f"{path}: not UTF-8 text (byte {error.start}). Save it as UTF-8.") from error
    except (ValueError, RecursionError) as error:
        raise SettingsError(f"{path}: not valid TOML: {error}. Correct it.") from error


def number(path: Path, key: str, value: Any, low: float, high: float) -> float:
    """*value* where it is a number from *low* to *high*. Raises SettingsError."""
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    if is_number and low <= value <= high:  # false for nan
        return float(value)
    raise unusable(path, key, value, f"a number from {low:g} to {high:g}")


def line(path: Path, key: str, value: Any) -> str:
    """*value* where it is one line of text. Raises SettingsError."""
    if isinstance(value, str) and value.strip() and value.isprintable():
        return value
    raise unusable(path, key, value, "one line of text")


def address(path: Path, key: str, value: Any) -> str:
    """*value* where it is the plain address of an OSC message. Raises SettingsError."""
    text = line(path, key, value)
    parts = text.split("/")
    if not text.isascii() or parts[0] or not all(parts[1:]) or _NOT_IN_ADDRESSES & set(text):
        raise unusable(
            path, key, value, "an OSC address such as /master/level, without spaces or any of # * , ? [ ] { }"
        )
    return text


def word(path: Path, key: str, value: Any, allowed: tuple[Word, ...]) -> Word:
    """*value* where it is one of the allowed words. Raises SettingsError."""
    for known in allowed:
        if value == known:
            return known
    raise unusable(path, key, value, f"one of {', '.join(allowed)}")


def unusable(path: Path, key: str, value: Any, allowed: str) -> SettingsError:
    """The refusal of one value."""
    return SettingsError(f"{path}: {key} is {value!r}; it must be {allowed}.")


def nearest(text: str, known: Iterable[str]) -> str:
    """`` Did you mean …?``, or nothing when no known word is close."""
    import difflib

    near = difflib.get_close_matches(text.casefold(), known, n=1)
    return f" Did you mean {near[0]}?" if near else ""
