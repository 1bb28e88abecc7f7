"""The owner's keys in place of the usual ones, from ``keys.toml`` in the settings folder: action = "key"."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from textual.binding import Binding
from textual.keys import Keys

from sidecar.errors import SettingsError
from sidecar.settings import toml
from sidecar.settings.locations import own_configs
from tui.drawing.view import KeyNames
from tui.keys import KEYS

_ALWAYS = "ctrl+c"
"""Quits, whatever a file says."""
_SECOND = frozenset({"colon,ctrl+p", "end", _ALWAYS})
"""Second keys of an action: no file moves them, but each is free for another action."""
_NAMED = frozenset(key.value for key in Keys if not key.value.startswith("<"))


def _by_key() -> dict[str, str]:
    """Returns the action of each usual key, the first where it does several things in turn.

    An action is named by its own id, else by its words in the list of commands.
    """
    actions: dict[str, str] = {}
    for binding in KEYS:
        if binding.key not in _SECOND:
            name = binding.id or binding.description.lower().replace(",", "").replace(" ", "_")
            actions.setdefault(binding.key, name)
    return actions


_ACTION_OF = _by_key()
ACTIONS = tuple(_ACTION_OF.values())
"""What a key map may name."""


def own_keys(path: Path | None = None) -> tuple[Binding, ...]:
    """Returns the keys of the instrument: the usual ones, but for those that *path* names.

    path: None for ``keys.toml`` in the settings folder, which need not exist.
    Raises SettingsError where an action or a key is unknown, or a key has two actions.
    """
    path = path or own_configs() / "keys.toml"
    if not path.exists():
        return KEYS
    chosen = {action: _key(path, action, key) for action, key in toml.parsed(path).items()}
    _check_each_has_one_action(path, chosen)
    return tuple(_with_own(chosen))


def key_names(keys: Iterable[Binding]) -> KeyNames:
    """Returns how the keys that sentences name are shown."""
    shown = {binding.action: binding.key_display or binding.key for binding in keys}
    return KeyNames(
        arm=shown["arm"],
        follow=shown["tell('follow')"],
    )


def _key(path: Path, action: str, key: Any) -> str:
    if action not in ACTIONS:
        near = toml.nearest(action, ACTIONS)
        raise SettingsError(f"{path}: there is no action {action!r}.{near} There are: {', '.join(ACTIONS)}.")
    if key == _ALWAYS:
        raise SettingsError(f"{path}: {action} cannot have the key {_ALWAYS}, which always quits.")
    if isinstance(key, str) and (key in _NAMED or (len(key) == 1 and key.isprintable() and key != " ")):
        return key
    raise toml.unusable(
        path, action, key, "one character, or a name such as 'f5', 'space', 'ctrl+r', 'pageup'"
    )


def _check_each_has_one_action(path: Path, chosen: Mapping[str, str]) -> None:
    actions: dict[str, str] = {}
    for usual, action in _ACTION_OF.items():
        for key in [_toolkits(chosen[action])] if action in chosen else usual.split(","):
            other = actions.setdefault(key, action)
            if other != action:
                raise SettingsError(
                    f"{path}: {other} and {action} have the same key, {key}. Give one of them another."
                )


def _with_own(chosen: Mapping[str, str]) -> Iterator[Binding]:
    taken = {_toolkits(key) for key in chosen.values()}
    for binding in KEYS:
        if binding.key in _SECOND:
            if left := [key for key in binding.key.split(",") if key not in taken]:
                yield replace(binding, key=",".join(left))
        elif (key := chosen.get(_ACTION_OF[binding.key])) is not None:
            yield replace(binding, key=_toolkits(key), key_display=key)
        else:
            yield binding


def _toolkits(key: str) -> str:
    """Returns what the toolkit calls a key: ``plus`` for ``+``."""
    if key == ",":  # which separates keys in a binding
        return "comma"
    (binding,) = Binding.make_bindings([Binding(key, "")])
    return binding.key
