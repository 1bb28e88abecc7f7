"""Dialogs that get the run before they have their content."""

import scripted_feed as scenes

from sidecar.settings.goals import all_goals
from tui.controller import Controller
from tui.palette import Palette
from tui.screens.goals import GoalDialog
from tui.screens.listing import RidesDialog
from tui.theme import inks


def test_a_view_that_comes_before_the_content_is_kept_and_breaks_nothing():
    """On a busy machine a dialog is given its size, and the next view, before its parts are there."""
    view, palette = Controller(scenes.down()).read_view(), Palette(inks("usual"))

    for dialog in (GoalDialog(all_goals(), view, palette), RidesDialog(view, palette)):
        dialog.show(view)
        dialog.on_resize()
