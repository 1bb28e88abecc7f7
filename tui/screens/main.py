"""The instrument: panels from top to bottom, and the keys."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from textual.app import ComposeResult
from textual.binding import Binding
from textual.geometry import Offset
from textual.message import Message
from textual.screen import Screen
from textual.widget import Widget

from sidecar.model import commands
from sidecar.model.readings import BLOCK_S
from sidecar.storage.atomic_file import write_whole
from tui import texts
from tui.controller import Controller, offers
from tui.drawing import wording
from tui.drawing.figures import figures
from tui.drawing.panels import standing, stems
from tui.drawing.panels.advice import next_pass_fader_db
from tui.drawing.view import View
from tui.keys import KEYS, explained
from tui.layout import plan
from tui.palette import Palette
from tui.screens.arm import ArmDialog
from tui.screens.commands import Commands
from tui.screens.goals import GoalDialog
from tui.screens.help import HelpDialog
from tui.screens.label import LabelDialog
from tui.screens.lamps import LampDialog
from tui.screens.listing import BalanceDialog, RidesDialog
from tui.screens.log import LogDialog
from tui.screens.passes import PassesDialog
from tui.screens.question import LeaveDialog, ResetDialog
from tui.widgets.alerts import Alerts
from tui.widgets.heading import Heading
from tui.widgets.hero import Hero
from tui.widgets.history import HistoryPanel
from tui.widgets.key_bar import KeyBar
from tui.widgets.outlets import Outlets
from tui.widgets.panel import Panel
from tui.widgets.scales import Scales
from tui.widgets.standing import Standing
from tui.widgets.stems import StemsPanel

_AT_ONCE: dict[str, Callable[..., commands.Command]] = {
    command.verb: command
    for command in (
        *(commands.Start, commands.Pause, commands.Continue, commands.Mark, commands.Acknowledge),
        commands.ResetPeaks,
        *(commands.Follow, commands.Disarm),
    )
}
"""What a key sends without a dialog, by the word in its action."""

_SOMETIMES = frozenset(
    {
        *("start", "pause", "continue", "follow", "acknowledge", "arm", "disarm", "cancel"),
        *("move_fader", "log_fader", "rides", "balance", "passes", "next_pass"),
    }
)
"""What is only offered while it does something."""


_CHANGES = frozenset(
    {
        *("start", "pause", "continue", "reset", "peak reset", "mark", "label", "acknowledge", "follow"),
        *("next_pass", "move_fader", "log_fader", "dialogue"),
    }
)
"""What is not offered where a pass that is over is looked back on."""

_FOR_A_RUN = _CHANGES | {"goals", "arm", "disarm", "cancel"}
"""What a run that has ended would not take any more."""

_AT_A_TERMINAL = frozenset({"copy", "still"})
"""What is not offered in a browser: its clipboard and its folders are not those of this machine."""

_PAGE = 0.8
"""Share of what is shown that a page moves by, so that a little of it stays in sight."""


class TasteChanged(Message):
    """Contrast or ground is another."""


class MainScreen(Screen[None]):
    """Draws the latest view and turns keys into commands."""

    def __init__(self, controller: Controller, palette: Palette, keys: tuple[Binding, ...] = KEYS) -> None:
        super().__init__()
        for binding in Binding.make_bindings(keys):
            self._bindings.key_to_bindings.setdefault(binding.key, []).append(binding)
        self.keys = keys
        self.controller = controller
        self.palette = palette
        self._asked: dict[str, int] = {"channels": 0}
        """What the panels need room for."""
        self._offered = frozenset({"start"})
        self._panels: tuple[Panel, ...] = ()
        self._view: View | None = None
        self._is_in_browser = False

    def compose(self) -> ComposeResult:
        for kind in (Heading, Hero, Standing, StemsPanel, Scales, HistoryPanel, Alerts, Outlets):
            yield kind(self.palette)
        yield KeyBar(compact=True, show_command_palette=False)

    def on_mount(self) -> None:
        self._is_in_browser = self.app.is_web
        self._panels = tuple(self.query(Panel))

    def on_resize(self) -> None:
        if self._view is not None:
            self._asked = self._asks(self._view)
        self._share_rows()

    def show(self, view: View) -> None:
        """Draw *view*; a panel that cannot is named in the notice and the others go on."""
        self._view = view
        asked = self._asks(view)
        if asked != self._asked:
            self._asked = asked
            self._share_rows()
        for panel in self._panels:
            panel.show(view)
            if panel.fault:
                view = replace(view, fault=panel.fault)
        self._offer_keys(view)

    def draw_anew(self) -> None:
        """Draws all panels in other inks."""
        for panel in self._panels:
            panel.draw_anew()

    def _asks(self, view: View) -> dict[str, int]:
        return {
            "channels": len(view.snapshot.reading.true_peak),
            "dialogue": int(view.snapshot.dialogue is not None),
            "standing": standing.rows_wanted(view, self.size.height),
            "stems": stems.rows_wanted(len(view.snapshot.stems), self.size.width),
        }

    def _share_rows(self) -> None:
        footer = self.query_one(KeyBar)
        footer.display = self.size.height > 5
        shared = plan(self.size.height - footer.display, width=self.size.width, **self._asked)
        scales = self.query_one(Scales)
        scales.parts = shared.parts
        self.query_one(Alerts).has_notice = not shared.outlets
        for kind, rows in (
            (Heading, shared.heading),
            (Hero, shared.hero),
            (Standing, shared.standing),
            (StemsPanel, shared.stems),
            (Scales, shared.scales),
            (HistoryPanel, shared.history),
            (Alerts, shared.alerts),
            (Outlets, shared.outlets),
        ):
            self.query_one(kind).styles.height = rows

    def _offer_keys(self, view: View) -> None:
        """Keep the footer to the keys that do something now."""
        offered = offers(view.snapshot) | (set() if view.cursor_s is None else {"now"})
        if offered != self._offered:
            self._offered = offered
            self.refresh_bindings()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Hide what would do nothing."""
        name = parameters[0] if action == "tell" else action
        if name in self._not_taken():
            return False
        if name in _AT_A_TERMINAL and self._is_in_browser:
            return False
        if name == "now":
            return self.controller.cursor.at_s is not None
        if name == "reset":
            return "next_pass" not in self._offered
        if name == "again":
            return self._plays_again(as_advised=bool(parameters[0]))
        return name not in _SOMETIMES or name in self._offered

    def _not_taken(self) -> frozenset[str]:
        if self.controller.kind == "past":
            return _CHANGES
        return _FOR_A_RUN if self._is_over() else frozenset()

    def _plays_again(self, *, as_advised: bool) -> bool:
        if self._view is None or self.controller.kind != "rehearsal" or not self._is_over():
            return False
        return not as_advised or next_pass_fader_db(self._view.snapshot) is not None

    def _is_over(self) -> bool:
        return self._view is not None and self._view.snapshot.transport == "ended"

    def action_tell(self, verb: str, *values: str) -> None:
        self.controller.send_command(_AT_ONCE[verb](*values))

    def action_move_fader(self, change_db: float) -> None:
        self.controller.nudge_fader(change_db)

    def action_log_fader(self, change_db: float) -> None:
        self.controller.nudge_fader(change_db)

    def action_unit(self) -> None:
        self.controller.switch_unit()

    def action_scale(self) -> None:
        self.controller.switch_scale()

    def action_contrast(self) -> None:
        self.controller.switch_contrast()
        self.post_message(TasteChanged())

    def action_ground(self) -> None:
        self.controller.switch_ground()
        self.post_message(TasteChanged())

    def action_zoom(self, steps: int) -> None:
        self.controller.zoom(steps)

    def action_look(self, columns: int) -> None:
        if (shown := self.query_one(HistoryPanel).shown) is not None:
            self.controller.cursor.move(columns * max(BLOCK_S, shown.width_s))

    def action_page(self, pages: int) -> None:
        if (shown := self.query_one(HistoryPanel).shown) is not None:
            self.controller.cursor.move(pages * _PAGE * shown.count * shown.width_s)

    def action_place(self, at_s: float) -> None:
        self.controller.cursor.place(at_s)

    def action_first(self) -> None:
        self.controller.cursor.place(0.0)

    def action_jump(self, direction: int) -> None:
        self.controller.jump(direction)

    def action_now(self) -> None:
        self.controller.cursor.dismiss()

    def action_log(self) -> None:
        if self._view is not None:
            self.app.push_screen(LogDialog(self._view, self.palette))

    def action_passes(self) -> None:
        if self._view is not None:
            self.app.push_screen(PassesDialog(self._view, self.palette))

    def action_lamps(self) -> None:
        if self._view is not None:
            self.app.push_screen(LampDialog(self._view, self.palette))

    def action_commands(self) -> None:
        self.app.push_screen(Commands())

    def action_next_pass(self) -> None:
        """Begins it without a question: the pass is measured whole, and nothing is lost."""
        self.controller.send_command(commands.Reset())

    def action_reset(self) -> None:
        measured = wording.clock(self._view.snapshot.reading.seconds) if self._view else "0:00"
        self.app.push_screen(ResetDialog(measured), self._reset_if)

    def _reset_if(self, wanted: bool | None) -> None:
        if wanted:
            self.controller.send_command(commands.Reset())

    def action_arm(self) -> None:
        if self._view is not None and self._view.snapshot.arm is not None:
            dialog = ArmDialog(
                self._view.snapshot.arm,
                self._view.keys,
                self.palette,
                is_elsewhere=self.controller.kind == "attached",
            )
            self.app.push_screen(dialog, self._arm_if)

    def _arm_if(self, wanted: bool | None) -> None:
        if wanted:
            self.controller.send_command(commands.Arm())

    def action_cancel(self) -> None:
        self.controller.send_command(commands.Disarm())

    def action_rides(self) -> None:
        if self._view is not None:
            self.app.push_screen(RidesDialog(self._view, self.palette))

    def action_balance(self) -> None:
        if self._view is not None:
            self.app.push_screen(BalanceDialog(self._view, self.palette))

    def action_label(self) -> None:
        self.app.push_screen(LabelDialog(), self._mark_if)

    def _mark_if(self, label: str | None) -> None:
        if label is not None:
            self.controller.send_command(commands.Mark(label))

    def action_dialogue(self) -> None:
        if self._view is not None:
            self.controller.send_command(commands.MarkDialogue(not self._view.snapshot.is_dialogue_marked))

    def get_widget_and_offset_at(self, x: int, y: int) -> tuple[Widget | None, Offset | None]:
        """See :class:`Screen`. In a panel each cell is a place of its text, which its rows need not carry."""
        widget, offset = super().get_widget_and_offset_at(x, y)
        if isinstance(widget, Panel):
            offset = Offset(x, y) - widget.region.offset
        return widget, offset

    def action_copy(self) -> None:
        selected = self.get_selected_text()
        if selected:
            self.app.copy_to_clipboard(selected)
            self.controller.say(texts.COPIED_SELECTION)
        elif self._view is not None:
            self.app.copy_to_clipboard(figures(self._view.snapshot))
            self.controller.say(texts.COPIED)

    def action_still(self) -> None:
        """Saves the screen beside what else lies in the folder that the program was started in; without the
        answer to a key before."""
        self.controller.say("")
        self.show(self.controller.read_view())
        self.call_after_refresh(self._save_still)

    def _save_still(self) -> None:
        file = Path.cwd() / time.strftime("sidecar-%Y%m%d-%H%M%S.svg")
        try:
            write_whole(file, self.app.export_screenshot().encode())
        except OSError as error:
            self.controller.refusal = texts.NOT_SAVED.format(file=file, error=error.strerror)
        else:
            self.controller.say(texts.SAVED.format(file=file.name))

    def action_goals(self) -> None:
        if self._view is not None:
            self.app.push_screen(
                GoalDialog(self.controller.feed.goals(), self._view, self.palette), self._aim_if
            )

    def _aim_if(self, name: str | None) -> None:
        if name is not None:
            self.controller.select_goal(name)

    def action_help(self) -> None:
        self.app.push_screen(HelpDialog(explained(self.keys), self.palette))

    def action_again(self, as_advised: bool) -> None:
        if self._view is None:
            return
        snapshot = self._view.snapshot
        advised_db = next_pass_fader_db(snapshot) if as_advised else None
        self.app.exit(snapshot.fader_db if advised_db is None else advised_db)

    def action_leave(self) -> None:
        measured = self._view.snapshot.reading.seconds if self._view else 0.0
        if self.controller.kind != "live" or self._is_over() or measured == 0.0:
            self.app.exit()
            return
        self.app.push_screen(LeaveDialog(wording.clock(measured)), self._leave_if)

    def _leave_if(self, wanted: bool | None) -> None:
        if wanted:
            self.app.exit()
