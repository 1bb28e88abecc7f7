"""What a page may say of its size."""

import pytest

from sidecar.web.tab import sides


@pytest.mark.parametrize(
    ("told", "expected"),
    [((80, 24), (80, 24)), (("80", "24"), (80, 24)), ((0, -5), (1, 1)), ((10**9, 10**9), (1000, 1000))],
)
def test_a_size_is_kept_to_what_can_be_drawn(told, expected):
    """No page makes a process draw a billion cells."""
    assert sides(*told) == expected
