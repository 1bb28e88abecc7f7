"""Rides, over the history and in a list."""

from sidecar.model.readings import Ride
from tui.drawing.cells import text_of
from tui.drawing.columns import window
from tui.drawing.panels.rides import ride_head, ride_row, rides_row

SHOWN = window(20.0, 20.0, None, 40)


def _row(*rides):
    return text_of(rides_row(rides, SHOWN))


def test_a_ride_is_drawn_from_its_start_to_its_end():
    """Two columns a second: direction, dB where they fit, and the length."""
    rides = (Ride(2.0, 5.0, -2.5, 0.5), Ride(12.0, 0.1, 1.5, 0.2), Ride(14.0, 2.0, 1.0, 0.2))

    assert _row(*rides) == "    ▼−2.5─────          ▲   ▲───        "


def test_where_two_overlap_the_deeper_one_is_on_top():
    """As they are made: the deeper one counts."""
    rides = (Ride(6.0, 3.0, -3.0, 0.1), Ride(2.0, 8.0, -1.0, 0.1))

    assert _row(*rides) == "    ▼−1.0───▼−3.0───                    "


def test_a_ride_that_began_before_the_window_still_shows():
    """Whoever looks closer sees that the fader is away from its line."""
    shown = window(20.0, 20.0, 10.0, 40)
    row = rides_row((Ride(5.0, 10.0, -2.0, 0.1),), shown)

    assert text_of(row).startswith("▼−2.0──")


def test_out_of_sight_there_is_no_row():
    """The chart keeps its height where no ride is in the window."""
    assert rides_row((), SHOWN) is None
    assert rides_row((Ride(30.0, 2.0, -1.0, 0.1),), SHOWN) is None


def test_the_list_says_when_how_long_how_far_and_how_fast():
    """A hand can make the ride from this line alone."""
    assert text_of(ride_head(44)) == "from      held for      move        ramps   "
    assert text_of(ride_row(Ride(95.0, 0.4, -4.0, 0.2), 44)) == "1:35      0.4 s       ▼ −4.0 dB     0.2 s   "
