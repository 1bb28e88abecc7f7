"""A screen beside the one that is typed at: its terminal has not the focus, and is looked at all the same."""

from driving import drive, until
from scripted_feed import down
from textual.events import AppBlur
from textual.widgets._footer import FooterKey


def test_the_footer_stays_true_without_the_focus():
    """Paused from elsewhere, the footer offers to go on, as it does where the keys are pressed."""
    feed = down()

    async def script(pilot):
        def offered():
            return {key.description for key in pilot.app.screen.query(FooterKey)}

        pilot.app.post_message(AppBlur())
        await until(pilot, lambda: "Pause" in offered(), "what a run that measures offers")
        feed.change(transport="paused")
        await until(pilot, lambda: "Continue" in offered(), "what a paused run offers")

    drive(feed, script)
