"""Whatever comes from the other end: a screen goes on."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sidecar.osc import codec
from sidecar.osc.table.addresses import OUTGOING, ROOT
from sidecar.osc.table.exchange import ANSWERS
from sidecar.osc.table.screen_addresses import DETAILS, GOAL
from sidecar.remote.received import ReceivedMessages, sound
from sidecar.remote.snapshot import snapshot_of
from sidecar.remote.timeline import TimelineCopy

_VALUES = {
    "f": st.floats(width=32),
    "i": st.one_of(st.integers(-3, 70), st.integers(-(2**31), 2**31 - 1)),
    "s": st.text(max_size=20),
    "b": st.binary(min_size=1, max_size=60),
}
_ROWS = [*OUTGOING, *DETAILS, *ANSWERS]


@st.composite
def messages(draw):
    """One message of the table, with arguments of the right types and any value."""
    row = draw(st.sampled_from(_ROWS))
    plain = row.tags.rstrip("*").replace("[", "").replace("]", "")
    return row.path, plain, [draw(_VALUES[tag]) for tag in plain]


@pytest.mark.slow
@settings(max_examples=300, deadline=None, derandomize=True)
@given(st.lists(messages(), max_size=40))
def test_any_values_of_the_right_types_do_no_harm(many):
    """Told as they come over the wire, in any order: nothing raises, and the history stays in order."""
    told, copy = ReceivedMessages(), TimelineCopy()
    for path, tags, values in many:
        for address, arguments in codec.parse(codec.message(ROOT + path, tags, values).dgram):
            heard = sound(address, arguments)
            if heard is None:
                continue
            if heard[0].startswith(("/history/", "/event")):
                copy.receive_answer(*heard)
                list(copy.questions(1.0))
            else:
                told.receive_message(*heard)
    snapshot_of(told)
    for goal in told.several("/goals/goal"):
        GOAL.decode(*goal)

    assert bool(np.all(np.diff(copy.history.seconds) > 0))
