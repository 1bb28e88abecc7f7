"""Every state, layout and look, cell for cell as they were last looked at."""

import pytest
from pictures import FOLDER, PICTURES, name_of, picture


@pytest.mark.slow
@pytest.mark.parametrize("one", PICTURES, ids=lambda one: name_of(*one))
def test_the_screen_is_as_it_was_looked_at(one):
    """Whatever differs was either meant, and is drawn anew with ``pictures.py``, or is a mistake."""
    assert (FOLDER / name_of(*one)).read_text(encoding="utf-8") == picture(*one)


def test_every_picture_is_compared():
    """No picture lies about that nothing looks at."""
    assert {name_of(*one) for one in PICTURES} == {file.name for file in FOLDER.iterdir()}
