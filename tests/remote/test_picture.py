"""A snapshot on the wire and back."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sidecar.model.advice import Advice
from sidecar.model.dialogue import DialogueLoudness
from sidecar.model.readings import ALERT_NAMES, Alert, Move, Reading, Ride
from sidecar.model.snapshot import ArmState, EarlierPass, Opening, PastPass, Snapshot, Stem, Target
from sidecar.osc import codec
from sidecar.osc.publisher import ON_CHANGE, Edition
from sidecar.osc.table.selection import select
from sidecar.remote.received import ReceivedMessages, sound
from sidecar.remote.snapshot import snapshot_of
from sidecar.settings.goals import Goal, all_goals

WANTED = select(("reading", "alert", "run", "detail"))


def single(value):
    return float(str(np.float32(value)))


figures = st.floats(-110.0, 110.0, width=32).map(single)
levels = st.one_of(figures, st.just(-math.inf))
texts = st.text(st.characters(exclude_categories=["C", "Z"]), max_size=40)
counts = st.integers(0, 2**31 - 1)
moves = st.builds(
    Move, figures, levels, levels, levels, st.sampled_from([None, "ceiling", "step", "range"]), texts
)
readings = st.builds(
    Reading,
    *(levels, levels, levels, figures, levels, levels),
    st.lists(levels, max_size=12).map(tuple),
    *(levels, levels, st.floats(0.0, 90_000.0, width=32).map(single), st.booleans(), counts),
    held_peak=st.lists(levels, max_size=12).map(tuple),
    channel_peak=st.lists(levels, max_size=12).map(tuple),
    short_term_peak=levels,
    correlation=st.one_of(st.none(), st.floats(-1.0, 1.0, width=32).map(single)),
    mono_loss_db=st.one_of(st.floats(0.0, 100.0, width=32).map(single), st.just(math.inf)),
)
limits = st.one_of(st.none(), figures)
goals = st.builds(
    Goal,
    *(texts, texts, figures, st.one_of(figures, st.just(math.inf)), figures, figures, figures, figures),
    *(limits, limits, limits, limits, limits, limits, st.sampled_from(["LUFS", "LKFS"]), texts),
)
snapshots = st.builds(
    Snapshot,
    transport=st.sampled_from(["preparing", "waiting", "ready", "measuring", "paused", "ended"]),
    goal=goals,
    reading=readings,
    advice=st.builds(
        Advice,
        st.sampled_from(["listening", "hold", "on_goal", "move", "ended"]),
        *(moves, moves, st.booleans(), st.one_of(st.none(), st.floats(0.0, 30.0, width=32).map(single))),
        *(st.sampled_from([-1, 0, 1]), st.booleans(), st.one_of(st.none(), figures), figures),
    ),
    alerts=st.tuples(
        *(
            st.builds(Alert, st.just(name), st.sampled_from(["off", "on", "latched"]), levels, figures)
            for name in ALERT_NAMES
        )
    ),
    fader_db=levels,
    controls_fader=st.booleans(),
    source=texts,
    rate_hz=counts,
    layout=texts,
    duration_s=st.one_of(st.none(), st.floats(0.125, 90_000.0, width=32).map(single)),
    dropped_samples=counts,
    targets=st.lists(st.builds(Target, texts, counts, counts, texts, st.booleans()), max_size=5).map(tuple),
    stems=st.lists(st.builds(Stem, texts, levels, moves, levels), max_size=5).map(tuple),
    build_up=st.lists(st.builds(Opening, texts, figures, texts), max_size=5).map(tuple),
    earlier_pass=st.one_of(
        st.none(),
        st.builds(EarlierPass, texts, st.booleans(), figures, st.one_of(figures, st.just(math.inf))),
    ),
    arm=st.one_of(st.none(), st.builds(ArmState, texts, st.booleans(), texts)),
    dialogue=st.one_of(
        st.none(),
        st.builds(
            DialogueLoudness,
            st.sampled_from(["stem", "detector", "markers"]),
            *(levels, levels, figures, figures, figures, texts),
        ),
    ),
    is_dialogue_marked=st.booleans(),
    rides=st.lists(st.builds(Ride, figures, figures, figures, figures), max_size=5).map(tuple),
    rides_reason=texts,
    passes=st.lists(
        st.builds(PastPass, counts, texts, texts, texts, figures, levels, figures, levels), max_size=5
    ).map(tuple),
    timecode_start_s=st.one_of(st.none(), st.floats(0.0, 86_400.0, width=32).map(single)),
    beat=counts,
    notice=texts,
)


def tell(told, snapshot):
    """Everything that a watcher is sent of a snapshot; the datagrams."""
    edition = Edition(snapshot, 0.0)
    datagrams = edition.datagrams(WANTED, ("reading",)) + edition.datagrams(WANTED, ON_CHANGE)
    for datagram in datagrams:
        for address, arguments in codec.parse(datagram):
            told.receive_message(*sound(address, arguments))
    return datagrams


@pytest.mark.slow
@settings(max_examples=40, deadline=None, derandomize=True)
@given(snapshots, snapshots)
def test_a_snapshot_comes_back_as_it_was(before, snapshot):
    """Every field, whatever was sent before: figures as single precision carries them, infinities as they
    were."""
    told = ReceivedMessages()
    tell(told, before)
    tell(told, snapshot)

    assert snapshot == snapshot_of(told)


def test_shipped_goals_come_back_exactly():
    """0.2 LU is 0.2 LU again: limits decide, and must not be a hair off."""
    for goal in all_goals():
        told = ReceivedMessages()
        tell(told, Snapshot("measuring", goal))

        assert goal == snapshot_of(told).goal


def test_every_packet_fits_in_one_datagram_however_much_there_is_to_tell():
    """1200 bytes are never split on an IPv6 path (RFC 8200 §5: 1280 at least), nor below the longest root."""
    long = "−" * 3000
    move = Move(-1.0, -20.0, -21.0, -19.0, "ceiling", long)
    goal = Goal(long, long, -23.0, 0.2, 0.2, -1.0, -20.0, source=long)
    crowded = Snapshot(
        *("measuring", goal, Reading(true_peak=(-3.0,) * 12), Advice("move", move, move)),
        source=long,
        layout=long,
        targets=(Target(long, 1, 1, long),) * 70,
        stems=(Stem(long, 0.0, move, -1.0),) * 40,
        build_up=(Opening(long, 0.0, long),) * 40,
        earlier_pass=EarlierPass(long, True, 0.0, 0.0),
        arm=ArmState(long, False, long),
        rides=(Ride(1.0, 2.0, 3.0, 4.0),) * 200,
        rides_reason=long,
        notice=long,
    )
    told = ReceivedMessages()
    selection = select(("reading", "alert", "detail"))
    datagrams = Edition(crowded, 0.0, "/" + "r" * 63).datagrams(selection, ("reading", *ON_CHANGE))
    tell(told, replace(crowded, goal=all_goals()[0]))

    assert max(map(len, datagrams)) <= codec.LARGEST_DATAGRAM
    assert [len(told.several(f"/detail/{what}")) for what in ("stem", "opening", "ride", "target")] == [
        40,
        40,
        200,
        70,
    ]


def test_no_picture_before_all_was_told():
    """Half a run is not drawn: every single address that is missing keeps the picture away."""
    snapshot = Snapshot("measuring", all_goals()[0], Reading(true_peak=(-3.0,)))
    whole = ReceivedMessages()
    tell(whole, snapshot)
    paths = {
        address for datagram in tell(ReceivedMessages(), snapshot) for address, _ in codec.parse(datagram)
    }
    for missing in paths - {"/sidecar/peak/channels"}:
        told = ReceivedMessages()
        for datagram in tell(ReceivedMessages(), snapshot):
            for address, arguments in codec.parse(datagram):
                if address != missing:
                    told.receive_message(*sound(address, arguments))
        assert snapshot_of(told) is None, missing

    assert snapshot_of(whole) is not None


def test_a_shorter_list_takes_the_place_of_a_longer_one():
    """A stem that is gone is not shown for ever."""
    told = ReceivedMessages()
    goal = all_goals()[0]
    tell(told, Snapshot("measuring", goal, targets=(Target("a"), Target("b"))))
    tell(told, Snapshot("measuring", goal, targets=(Target("c"),)))
    one = snapshot_of(told).targets
    tell(told, Snapshot("measuring", goal))

    assert (Target("c"),) == one
    assert snapshot_of(told).targets == ()


@pytest.mark.parametrize(
    ("address", "arguments"),
    [
        ("/sidecar/momentary", []),
        ("/sidecar/momentary", [1]),
        ("/sidecar/momentary", [1.0, 2.0]),
        ("/sidecar/momentary", [math.nan]),
        ("/sidecar/momentary", [math.inf]),
        ("/sidecar/transport", [b"measuring"]),
        ("/sidecar/dropped", [True]),
        ("/sidecar/peak/channels", []),
        ("/sidecar/detail/ride", [0, 1, 1.0]),
        ("/sidecar/nothing", [1.0]),
        ("/other/momentary", [1.0]),
    ],
)
def test_what_is_not_as_the_table_says_is_passed_over(address, arguments):
    """Whoever sent it, nothing of it is drawn."""
    assert sound(address, arguments) is None


def test_texts_cannot_steer_the_terminal():
    """An escape sequence arrives as harmless characters."""
    assert sound("/sidecar/detail/notice", ["\x1b]0;title\x07 − ok"]) == (
        "/detail/notice",
        ("\ufffd]0;title\ufffd − ok",),
    )
