"""kill -9 at any moment: benchmarks/kills.py does it a hundred times."""

import pytest
from whole_kills import Yard

pytestmark = pytest.mark.slow


def test_a_killed_run_goes_on_as_if_at_most_a_second_had_not_been(tmp_path):
    """Integrated, range, maxima and peaks are those of an unbroken run at the place that is on record."""
    for kill in Yard(tmp_path, seconds=20).kill_all([0.05, 0.9, 2.2, 3.7, 5.1], at_once=5):
        assert kill.integrity == "ok"
        assert kill.heard_s - kill.kept_s <= 1.0
        assert kill.kept_s == 0.0 or kill.is_same
