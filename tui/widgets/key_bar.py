"""The footer: as many keys as find room whole, and at its end, at every width, the list of all of them."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby

from rich.cells import cell_len
from textual.app import ComposeResult
from textual.binding import Binding
from textual.events import Resize
from textual.widgets import Footer
from textual.widgets._footer import FooterKey, FooterLabel, KeyGroup

from tui.keys import MORE, NEXT_PASS
from tui.palette import ascii_text

_GAP = 1
"""Cells behind each key."""


class KeyBar(Footer):
    """Shows the keys in the order of the table; the ones that find no room are in the list."""

    DEFAULT_CSS = """
    KeyBar FooterKey.-more { dock: right; margin: 0 1 0 0; }
    """

    def compose(self) -> ComposeResult:
        if not self._bindings_ready:
            return
        by_action = {
            binding.action: (binding, tooltip)
            for _, binding, _, tooltip in reversed(self.screen.active_bindings.values())
            if binding.show and not binding.system
        }
        shown = [*reversed(by_action.values())]
        shown.sort(key=lambda one: one[0].action != NEXT_PASS)
        last = [one for one in shown if one[0].id == MORE]
        room = self.size.width - sum(self._width(binding) for binding, _ in last)
        for group in self._groups([one for one in shown if one not in last]):
            room -= self._width_of(group)
            if room < 0:
                break
            yield from self._keys(group)
        for binding, tooltip in last:
            yield self._key(binding, tooltip, classes="-more")

    def on_resize(self, _event: Resize) -> None:
        """Shows as many keys as find room now."""
        if self._bindings_ready:
            self.call_after_refresh(self.recompose)

    @staticmethod
    def _groups(shown: list[tuple[Binding, str]]) -> Iterator[list[tuple[Binding, str]]]:
        """Yields keys that share a place together, all others one by one."""
        for group, members in groupby(shown, lambda one: one[0].group):
            if group is not None:
                yield list(members)
            else:
                yield from ([one] for one in members)

    def _width_of(self, group: list[tuple[Binding, str]]) -> int:
        first = group[0][0]
        if first.group is None:
            return self._width(first)
        displays = sum(cell_len(self.app.get_key_display(binding)) for binding, _ in group)
        return displays + _GAP + cell_len(first.group.description) + _GAP

    def _width(self, binding: Binding) -> int:
        return cell_len(self.app.get_key_display(binding)) + 1 + cell_len(binding.description) + _GAP

    def _keys(self, group: list[tuple[Binding, str]]) -> ComposeResult:
        first = group[0][0].group
        if first is None:
            yield self._key(*group[0])
            return
        with KeyGroup(classes="-compact"):
            for binding, tooltip in group:
                yield self._key(binding, tooltip, description="", classes="-grouped")
        words = first.description
        if self.app.has_class("-ascii"):
            words = ascii_text(words.replace("±", ""))  # the keys beside it are + and -
        yield FooterLabel(words)

    def _key(
        self, binding: Binding, tooltip: str, *, description: str | None = None, classes: str = ""
    ) -> FooterKey:
        words = binding.description if description is None else description
        display = self.app.get_key_display(binding)
        key = FooterKey(binding.key, display, words, binding.action, tooltip=tooltip, classes=classes)
        return key.data_bind(compact=Footer.compact)
