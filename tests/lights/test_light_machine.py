"""When lights change: the limit, the shortest time on, what comes first, and the end.

Sources of the limit: WCAG 2.x success criterion 2.3.1 and ITU-R BT.1702, no more than three flashes in any
one second. Here each sending counts, not each pair of changes.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sidecar.lights import Light, LightMachine
from sidecar.lights.conditions import CONDITIONS
from sidecar.lights.light import Show

MOST = 3
WINDOW_S = 1.0
UNIT_S = 1 / 64  # exact in binary, so that windows can be compared without a tolerance
WORDS = sorted(CONDITIONS)
SAFE = (0.0,)


def light(*shows: Show) -> Light:
    return Light("ours", "Ours", "/lamp", "level", SAFE, shows)


def show(when, value, **changes) -> Show:
    return Show((when,), (value,), (0.0,), **changes)


def play(machine, script, start_s=0.0):
    """Every sending, with its time, of a script of (64ths of a second, conditions)."""
    now_s = start_s
    sent = []
    for units, words in script:
        now_s += units * UNIT_S
        values = machine.values_to_send(now_s, frozenset(words))
        if values is not None:
            sent.append((now_s, values))
    return sent


def steady(words, seconds):
    """The same conditions for so long, asked for 64 times a second."""
    return [(1, words)] * round(seconds / UNIT_S)


def values(sent):
    return [value for _, (value,) in sent]


def changes(sent):
    """The sendings that change the first light, the first of all included."""
    seen = [(at, shown[0]) for at, shown in sent]
    return [seen[0], *(later for earlier, later in pairwise(seen) if later[1] != earlier[1])]


def most_in_a_window(times) -> int:
    """The highest number of times in any window of one second, both ends included."""
    return max((sum(start <= at <= start + WINDOW_S for at in times) for start in times), default=0)


conditions = st.frozensets(st.sampled_from(WORDS), max_size=4)
scripts = st.lists(st.tuples(st.integers(1, 40), conditions), max_size=150)


@st.composite
def any_light(draw):
    """Any light, also one that no file may ask for: pulses of up to 50 a second."""
    words = draw(st.permutations(WORDS))[: draw(st.integers(1, 5))]
    return light(
        *(
            Show(
                (word,),
                (1.0 - place / 16,),
                (draw(st.sampled_from([0.0, 0.5])),),
                draw(st.sampled_from(["steady", "pulse", "double"])),
                draw(st.sampled_from([0.1, 0.9, 1.0, 3.0, 50.0])),
                draw(st.sampled_from([0.0, 0.25])),
                draw(st.sampled_from([0.0, 1.0, 2.5])),
            )
            for place, word in enumerate(words)
        )
    )


@pytest.mark.slow
@settings(max_examples=300, deadline=None)
@given(st.lists(any_light(), min_size=1, max_size=3), scripts, st.booleans())
def test_whatever_the_files_say_nothing_is_sent_a_fourth_time_in_any_second(lights, script, ends):
    """Several lights of any pattern, under any history of conditions and at the end: they are sent together,
    so no light, and no pair of lights side by side, changes more often."""
    machine = LightMachine(lights)
    sent = play(machine, script)
    if ends:
        machine.switch_to_safe()
        sent += play(machine, steady([], 4.0), start_s=sum(units for units, _ in script) * UNIT_S)

    assert most_in_a_window([at for at, _ in sent]) <= MOST


@pytest.mark.slow
@settings(max_examples=200, deadline=None)
@given(any_light(), scripts, st.sets(st.integers(0, 400)))
def test_lost_datagrams_make_no_light_change_faster(made, script, lost):
    """Whichever sendings the network loses, what arrives changes three times in a second at most."""
    arrived = [one for index, one in enumerate(play(LightMachine([made]), script)) if index not in lost]

    if arrived:
        assert most_in_a_window([at for at, _ in changes(arrived)]) <= MOST


@pytest.mark.slow
@settings(max_examples=300, deadline=None)
@given(st.lists(st.sampled_from([0.25, 1.0, 2.5]), min_size=2, max_size=5), scripts)
def test_what_is_shown_stays_for_its_shortest_time(min_on_s, script):
    """Only something that comes before it in the file takes its place earlier. Each show here is steady and
    has a value of its own, so the messages show which was on and when."""
    shows = [
        show(word, 1.0 - i / 16, min_on_s=on_s)
        for i, (word, on_s) in enumerate(zip(WORDS, min_on_s, strict=False))
    ]
    places = {one.value: place for place, one in enumerate(shows)}
    sent = play(LightMachine([light(*shows)]), script)
    for (at, was), (later, now) in pairwise(changes(sent) if sent else []):
        if was in places and places.get(now, len(shows)) > places[was]:
            assert later - at >= shows[places[was]].min_on_s


@pytest.mark.slow
@settings(max_examples=200, deadline=None)
@given(any_light(), scripts, conditions)
def test_in_the_end_the_light_tells_the_truth(made, script, words):
    """Conditions that stay are shown after hold, shortest time and a second, whatever came before."""
    calm = replace(made, shows=tuple(replace(one, pattern="steady") for one in made.shows))
    machine = LightMachine([calm])
    sent = play(machine, [*script, *steady(words, 5.0)])
    true = next((one.value for one in calm.shows if words & set(one.when)), SAFE)

    assert true == sent[-1][1][0]


@pytest.mark.slow
@settings(max_examples=200, deadline=None)
@given(any_light(), scripts)
def test_at_the_end_the_safe_state_is_sent_three_times_and_nothing_else(made, script):
    """Within little more than a second and a half, also in the middle of a pattern or of a shortest time."""
    machine = LightMachine([made])
    play(machine, script)
    machine.switch_to_safe()
    sent = play(machine, steady(WORDS, WINDOW_S + 0.75), start_s=sum(units for units, _ in script) * UNIT_S)

    assert values(sent)[:3] == [SAFE] * 3
    assert set(values(sent)) == {SAFE}


def test_a_state_that_stays_is_sent_once_a_second():
    """A lamp that missed a datagram is right again within a second."""
    machine = LightMachine([light(show("over", 1.0))])
    sent = play(machine, steady(["over"], 10.0))

    assert [later - at for (at, _), (later, _) in pairwise(sent)] == [1.0] * 9


def test_the_first_change_passes_at_once():
    """A warning waits for nothing when nothing else has just changed."""
    machine = LightMachine([light(show("hot", 1.0))])
    play(machine, steady([], 3.0))

    assert play(machine, [(0, ["hot"])], start_s=5.0) == [(5.0, ((1.0,),))]


def test_what_comes_first_in_the_file_is_shown_first():
    """Ceiling takes the place of over at once, within its shortest time; not the other way round."""
    machine = LightMachine([light(show("ceiling", 1.0), show("over", 0.5))])
    sent = play(
        machine,
        [*steady(["over"], 0.25), *steady(["over", "ceiling"], 0.25), *steady(["over"], 1.25)],
    )

    assert [value for _, (value,) in changes(sent)] == [0.5, 1.0, 0.5]
    assert [later - at for (at, _), (later, _) in pairwise(changes(sent))] == [0.25, 1.0]


def test_a_condition_is_held_before_it_is_shown():
    """A hold of half a second: a quarter is not shown, and the next begins anew."""
    machine = LightMachine([light(show("hot", 1.0, hold_s=0.5))])
    brief = play(machine, [*steady(["hot"], 0.25), *steady([], 0.25)] * 3)
    long = play(machine, steady(["hot"], 1.0), start_s=1.5)

    assert set(values(brief)) == {SAFE}
    assert next(at for at, (value,) in long if value == (1.0,)) == 2.0 + UNIT_S


def test_a_warning_that_the_limit_held_back_is_shown_all_the_same():
    """Gone before it could be sent, it still has its shortest time."""
    machine = LightMachine([light(show("hot", 1.0), show("over", 0.5, min_on_s=0.0))])
    sent = play(machine, [(1, []), (1, ["over"]), (1, []), (1, ["hot"]), *steady([], 3.0)])
    (shown_at, _), (gone_at, _) = changes(sent)[3:]

    assert [value for _, value in changes(sent)] == [(0.0,), (0.5,), (0.0,), (1.0,), (0.0,)]
    assert gone_at - shown_at == 1.0


def test_a_pulse_takes_turns_and_a_double_pulse_pauses():
    """At one a second: half a second each; the double one value, rest, value, and a rest of three halves."""
    pulsing = LightMachine([light(show("ceiling", 1.0, pattern="pulse"))])
    doubled = LightMachine([light(show("ceiling", 1.0, pattern="double"))])
    halves = {
        machine: [later - at for (at, _), (later, _) in pairwise(changes(sent))]
        for machine, sent in ((m, play(m, steady(["ceiling"], 7.0))) for m in (pulsing, doubled))
    }

    assert halves[pulsing] == [0.5] * 13
    assert halves[doubled][:8] == [0.5, 0.5, 0.5, 1.5] * 2


def test_lights_that_take_turns_share_the_limit():
    """Two lights that the same conditions drive against each other are one flashing area to the eye."""
    machine = LightMachine([light(show("hot", 1.0, min_on_s=0.0)), light(show("over", 1.0, min_on_s=0.0))])
    sent = play(machine, [(2, ["hot"]), (2, ["over"])] * 160)

    assert len(sent) == 30  # in ten seconds
