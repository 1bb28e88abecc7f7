"""The names that lists of files show."""

from pathlib import PurePath

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sidecar.delivery.distinct_names import distinct_names


@pytest.mark.parametrize(
    ("paths", "names"),
    [
        ([], []),
        (["mixes/a.wav"], ["a.wav"]),
        (["x/a.wav", "x/b.wav"], ["a.wav", "b.wav"]),
        (["1/a.wav", "2/a.wav", "2/b.wav"], ["1/a.wav", "2/a.wav", "b.wav"]),
        (["1/day/a.wav", "2/day/a.wav"], ["1/day/a.wav", "2/day/a.wav"]),
        (["a.wav", "/home/a.wav"], ["a.wav", "home/a.wav"]),
        (["/a.wav", "/b/a.wav"], ["/a.wav", "b/a.wav"]),
        (["a.wav", "a.wav"], ["a.wav", "a.wav"]),
        (["xa.wav", "a.wav"], ["xa.wav", "a.wav"]),
    ],
)
def test_each_path_has_the_shortest_end_that_no_other_has(paths, names):
    assert distinct_names(paths) == [str(PurePath(name)) for name in names]


PATHS = st.lists(st.sampled_from("ab"), min_size=1, max_size=4).map("/".join)


@given(st.lists(PATHS, unique=True, max_size=12))
def test_no_two_different_paths_share_a_name_and_no_name_could_be_shorter(paths):
    names = distinct_names(paths)

    assert len(set(names)) == len(paths)
    for path, name in zip(paths, names, strict=True):
        assert f"/{path}".endswith(f"/{name}")
        shorter = name.partition("/")[2]
        if shorter:
            assert sum(f"/{other}".endswith(f"/{shorter}") for other in paths) > 1
