"""A feed that plays a written scene: for the screen's tests and for looking at it by hand.

Run it as ``python tests/tui/scripted_feed.py down`` to see a scene in a terminal.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from sidecar.advice.faders.arming import CAUTION
from sidecar.errors import SidecarError
from sidecar.model.advice import Advice
from sidecar.model.commands import Command
from sidecar.model.dialogue import DialogueLoudness
from sidecar.model.readings import ALERT_NAMES, SILENCE, Alert, Limit, Move, Reading, Ride
from sidecar.model.snapshot import ArmState, EarlierPass, Event, Snapshot, Stem, Target, Timeline
from sidecar.settings.goals import Goal

BROADCAST = Goal(
    name="production",
    title="Production master",
    target_lufs=-23.0,
    tolerance_below_lu=0.2,
    tolerance_above_lu=0.2,
    ceiling_dbtp=-1.0,
    hot_lufs=-18.0,
    range_guide_lu=15.0,
    source="EBU R 128 V5 h), i), m)",
)
EXCHANGE = Goal(
    name="exchange",
    title="Programme exchange",
    target_lufs=-24.0,
    tolerance_below_lu=2.0,
    tolerance_above_lu=2.0,
    ceiling_dbtp=-2.0,
    hot_lufs=-19.0,
    unit="LKFS",
    source="ATSC A/85:2013, section numbers from memory",
)
SPEECH = Goal(
    name="speech",
    title="Spoken word, stereo",
    target_lufs=-16.0,
    tolerance_below_lu=1.0,
    tolerance_above_lu=1.0,
    ceiling_dbtp=-1.0,
    hot_lufs=-11.0,
    source="common practice, no source",
)
GOALS = (BROADCAST, EXCHANGE, SPEECH)

QUIET_ALERTS = tuple(Alert(name) for name in ALERT_NAMES)


def wandering_history(seconds: float, level: float = -22.0, events: tuple[Event, ...] = ()) -> Timeline:
    """A programme of *seconds* around *level* LUFS, the same at every call."""
    times = (np.arange(1, round(seconds * 10) + 1) / 10.0).astype(np.float32)
    swing = 3.0 * np.sin(times / 7.0) + 2.0 * np.sin(times / 2.3 + 1.0) + 1.5 * np.sin(times / 31.0)
    short_term = (level - 1.5 + swing).astype(np.float32)
    power = 10.0 ** (short_term.astype(np.float64) / 10.0)
    mean = np.cumsum(power) / np.arange(1, len(times) + 1)
    integrated = (10.0 * np.log10(mean)).astype(np.float32) if len(times) else times
    return Timeline(times, short_term, integrated, np.zeros_like(times), events)


def reading_at(history: Timeline, **changes: object) -> Reading:
    """What a meter reads at the end of *history*."""
    base = Reading(
        momentary=float(history.short_term[-1]) + 1.2,
        short_term=float(history.short_term[-1]),
        integrated=float(history.integrated[-1]),
        loudness_range=6.2,
        max_momentary=float(history.short_term.max()) + 2.0,
        max_short_term=float(history.short_term.max()),
        true_peak=(-3.2, -2.8),
        held_peak=(-3.2, -2.8),
        channel_peak=(-9.5, -6.1),
        short_term_peak=-4.9,
        correlation=0.62,
        mono_loss_db=0.8,
        max_true_peak=-2.8,
        sample_peak=-3.0,
        seconds=float(history.seconds[-1]),
        range_is_stable=bool(history.seconds[-1] >= 60.0),
    )
    return replace(base, **changes)


class ScriptedFeed:
    """Shows what it is given, and writes down what it receives."""

    def __init__(self, snapshot: Snapshot, history: Timeline) -> None:
        self.shown = snapshot
        self.history_shown = history
        self.told: list[Command] = []
        self.refusal: str | None = None
        self.failure: str | None = None

    def snapshot(self) -> Snapshot:
        if self.failure is not None:
            raise RuntimeError(self.failure)
        return self.shown

    def timeline(self) -> Timeline:
        return self.history_shown

    def goals(self) -> Sequence[Goal]:
        return GOALS

    def send_command(self, command: Command) -> None:
        if self.refusal is not None:
            raise SidecarError(self.refusal)
        self.told.append(command)

    def change(self, **changes: object) -> None:
        """Show the same snapshot with *changes* from now on."""
        self.shown = replace(self.shown, **changes)


def advice_of(move: Move, *, lands_this_pass: bool = True, **changes: object) -> Advice:
    """The advice that goes with *move*: the whole-pass gain is half a decibel further."""
    further = 0.5 if move.gain_db > 0.0 else -0.5 if move.gain_db < 0.0 else 0.0
    from_top = replace(move, gain_db=move.gain_db + further, landing=-23.0)
    state = "move" if move.gain_db else "on_goal"
    look_at_s = 196.0 if lands_this_pass else 109.0
    base = Advice(state, move, from_top, lands_this_pass=lands_this_pass, next_look_at_s=look_at_s)
    return replace(base, **changes)


def _scene(history: Timeline, **changes: object) -> ScriptedFeed:
    snapshot = Snapshot(
        transport="measuring",
        goal=BROADCAST,
        reading=reading_at(history),
        alerts=QUIET_ALERTS,
        fader_db=-3.5,
        controls_fader=True,
        source="rehearsal",
        rate_hz=48_000,
        layout="stereo",
        duration_s=300.0,
        targets=(Target("127.0.0.1:9000", sent=12_034),),
    )
    return ScriptedFeed(replace(snapshot, **changes), history)


def preparing() -> ScriptedFeed:
    """Kernels compile, nothing is measured yet."""
    return ScriptedFeed(
        Snapshot("preparing", BROADCAST, notice="building the meter for this processor, once, about 20 s"),
        wandering_history(0.0),
    )


def listening() -> ScriptedFeed:
    """The first seconds: nothing can be advised yet."""
    move = Move(reason="10 s of programme above the gate are needed before advice is worth hearing")
    history = wandering_history(4.0)
    return _scene(history, duration_s=None, advice=Advice(move=move, next_look_at_s=10.0))


def hold() -> ScriptedFeed:
    """Too early to move: the likely range holds the goal."""
    move = Move(0.0, -22.4, -24.9, -20.1, reason="1.0 LU too loud so far; too early to tell if it stays so.")
    history = wandering_history(41.0, -22.0)
    said = advice_of(move, state="hold", next_look_at_s=55.0, trend=-1, from_top=replace(move, gain_db=-0.6))
    return _scene(history, advice=said)


def first_step() -> ScriptedFeed:
    """More than one step is needed."""
    move = Move(-3.0, -21.9, -22.6, -21.2, reason="First step, rest later: 3.9 LU too loud so far.")
    said = advice_of(move, more_to_come=True, trend=-1, range_widened_lu=0.8)
    return _scene(wandering_history(95.0, -19.0), advice=said)


def past_bound() -> ScriptedFeed:
    """The goal lies further than the fader may stray from the gain of the whole pass."""
    move = Move(
        -2.0, -21.6, -21.8, -21.4, reason="Finish at −21.6 LUFS, or start again with fader at −7.5 dB."
    )
    said = advice_of(move, restart_fader_db=-7.5, range_widened_lu=1.2, from_top=replace(move, gain_db=-4.0))
    return _scene(wandering_history(240.0, -19.0), advice=said)


def passed() -> ScriptedFeed:
    """A pass that ended inside the goal."""
    move = Move(-0.1, -23.0, -23.0, -23.0, reason="the whole pass read −22.9 LUFS")
    history = wandering_history(300.0, -23.0)
    reading = reading_at(history, integrated=-22.9)
    return _scene(history, transport="ended", reading=reading, advice=Advice("ended", move, move))


def failed() -> ScriptedFeed:
    """A pass that ended too loud, with a peak over the ceiling."""
    move = Move(-2.1, -23.0, -23.0, -23.0, reason="the whole pass read −20.9 LUFS")
    history = wandering_history(300.0, -21.0)
    reading = reading_at(history, integrated=-20.9, true_peak=(-1.4, -0.4), max_true_peak=-0.4)
    reading = replace(reading, held_peak=reading.true_peak)
    return _scene(history, transport="ended", reading=reading, advice=Advice("ended", move, move))


def on_goal() -> ScriptedFeed:
    """The programme lands where it should."""
    move = Move(0.0, -23.0, -23.15, -22.9, reason="the rest may stay as it is")
    return _scene(wandering_history(184.0, -23.6), advice=advice_of(move))


def down() -> ScriptedFeed:
    """A move down lands this pass."""
    move = Move(-1.8, -23.1, -23.4, -22.9, reason="the second half has been running 1.6 LU hot")
    events = (
        Event(52.0, "move", "−1.0 dB"),
        Event(101.0, "marker", "interview"),
        Event(140.0, "alert", "hot"),
        Event(170.0, "move", "+0.5 dB"),
    )
    return _scene(wandering_history(184.0, -21.5, events), advice=advice_of(move))


def up() -> ScriptedFeed:
    """A move up that the ceiling cuts short, for a goal that is not EBU Mode."""
    history = wandering_history(95.0, -26.0)
    move = Move(1.4, -25.0, -25.3, -24.4, "ceiling", "Peaks allow no more: higher, they pass −2.0 dBTP.")
    return _scene(
        history,
        goal=EXCHANGE,
        advice=advice_of(move, lands_this_pass=False),
        duration_s=None,
        reading=reading_at(history, true_peak=(-3.9, -3.4), held_peak=(-3.9, -3.4), max_true_peak=-3.4),
    )


def alerted() -> ScriptedFeed:
    """Peaks over the ceiling, a held alert, dropped samples, a target that fails."""
    events = (Event(40.0, "alert", "ceiling"), Event(120.0, "gap", "gap"), Event(150.0, "alert", "hot"))
    history = wandering_history(184.0, -20.0, events)
    alerts = (
        Alert("ceiling", "on", -0.4, -1.0),
        Alert("over", "off"),
        Alert("hot", "latched", -17.2, -18.0),
        Alert("lost", "off"),
        Alert("silent", "off"),
    )
    move = Move(-6.0, -22.1, -22.9, -21.0, "step", "6.9 dB are needed; one step is at most 6 dB")
    return _scene(
        history,
        advice=advice_of(move, from_top=Move(-2.4, -23.0)),
        alerts=alerts,
        dropped_samples=4_800,
        reading=reading_at(
            history,
            true_peak=(-1.4, -0.4),
            held_peak=(-1.4, -0.4),
            max_true_peak=-0.4,
            correlation=-0.31,
            mono_loss_db=5.2,
        ),
        targets=(
            Target("127.0.0.1:9000", sent=12_034),
            Target("lights.local:7700", sent=11_020, failed=14, fault="no route to host"),
        ),
        notice="the device lost 4800 frames at 2:00 and came back",
    )


def paused() -> ScriptedFeed:
    """Everything waits."""
    feed = down()
    feed.change(transport="paused")
    return feed


def long() -> ScriptedFeed:
    """A whole day."""
    day_s = 86_400.0
    move = Move(-0.6, -23.0, -23.05, -22.97, reason="a little hot since the evening")
    events = (Event(3_600.0, "marker", "second hour"), Event(50_000.0, "move", "−0.5 dB"))
    return _scene(
        wandering_history(day_s, -22.5, events),
        advice=advice_of(move, lands_this_pass=False),
        duration_s=None,
    )


def surround() -> ScriptedFeed:
    """Six channels."""
    feed = down()
    peaks = (-6.0, -5.5, -2.2, -12.0, -9.1, -8.4)
    live = (-12.0, -11.5, -9.0, -31.0, -22.0, SILENCE)
    reading = replace(
        feed.shown.reading, true_peak=peaks, held_peak=peaks, channel_peak=live, max_true_peak=-2.2
    )
    feed.change(layout="5.1", reading=reading)
    return feed


_MIX_REASON = "With these moves made, the mix lands at −23.0 LUFS."


def _mix_move(gain_db: float, limited_by: Limit | None = None) -> Move:
    return Move(gain_db, -23.0, -23.3, -22.8, limited_by, _MIX_REASON)


_MIX = (
    Stem("voice", -3.5, _mix_move(1.2), -6.2),
    Stem("drums", -1.0, _mix_move(-0.8, "ceiling"), -0.6),
    Stem("strings and horns", -12.5, Move(), -14.1),
    Stem("room", SILENCE, Move(), SILENCE),
)
_MORE = ("bass", "piano", "guitar", "choir", "effects", "atmosphere", "footsteps", "spot 1", "spot 2")


def stems() -> ScriptedFeed:
    """Four stems, two of which are to be moved."""
    return _scene(
        wandering_history(184.0, -23.9),
        stems=_MIX,
        advice=advice_of(_mix_move(0.9), lands_this_pass=False),
        controls_fader=False,
    )


def many_stems(count: int = 12) -> ScriptedFeed:
    """The most stems there may be, up to 16."""
    names = [*_MORE, *(f"spot {n}" for n in range(3, 9))][: count - len(_MIX)]
    moves = {2: _mix_move(-0.4), 6: _mix_move(3.0, "step")}
    more = tuple(Stem(name, -n - 0.5, moves.get(n, Move()), -9.0 - n) for n, name in enumerate(names))
    feed = stems()
    feed.change(stems=_MIX + more)
    return feed


CINEMA = replace(BROADCAST, least_dialogue_lufs=-28.0, most_dialogue_lufs=-23.0, ldr_guide_lu=5.0)


def spoken() -> ScriptedFeed:
    """Automatic detection finds speech in the mix; it lies too far under the rest."""
    found = DialogueLoudness("detector", -28.4, -22.6, 102.0, 184.0, 0.93)
    advice = advice_of(Move(0.0, -23.0, -23.2, -22.9))
    history = wandering_history(184.0)
    speech = np.sin(history.seconds / 9.0) > -0.2
    return _scene(replace(history, dialogue=speech[:-12]), goal=CINEMA, dialogue=found, advice=advice)


def unarmed() -> ScriptedFeed:
    """A surface is connected and may not be moved; an earlier pass fits."""
    feed = down()
    earlier = EarlierPass("mix.wav", True, 1.2, 0.4)
    feed.change(
        controls_fader=False, arm=ArmState("studio desk", False, "Disarmed by you."), earlier_pass=earlier
    )
    return feed


def armed() -> ScriptedFeed:
    """A surface may be moved, and the caution has just been given."""
    feed = unarmed()
    feed.change(arm=ArmState("studio desk", True, f"Armed at −3.5 dB. {CAUTION}"))
    return feed


def arming() -> ScriptedFeed:
    """Arming was asked for; the workstation has not said yet where its fader is."""
    feed = unarmed()
    sentence = "Not armed yet: touch the fader once, so that the workstation says where it is."
    feed.change(arm=ArmState("studio desk", False, f"{sentence} {CAUTION}", is_waiting=True))
    return feed


def lit() -> ScriptedFeed:
    """A light runs beside it."""
    feed = up()
    feed.change(targets=(*feed.shown.targets, Target("lamp=127.0.0.1:7700", sent=1_020, is_light=True)))
    return feed


def riding() -> ScriptedFeed:
    """Rides would keep the programme inside its limits."""
    feed = down()
    rides = (Ride(30.0, 24.0, -2.5, 0.5), Ride(95.0, 0.4, -4.0, 0.2), Ride(150.0, 20.0, 1.5, 1.0))
    reason = "Three rides bring short-term under −18.0 LUFS; with them the programme moves up by 0.3 dB."
    feed.change(rides=rides, rides_reason=reason)
    return feed


def crowded() -> ScriptedFeed:
    """Everything at once."""
    feed = many_stems(16)
    calm, told = armed().shown, riding().shown
    feed.change(
        arm=calm.arm,
        earlier_pass=calm.earlier_pass,
        rides=told.rides,
        rides_reason=told.rides_reason,
        alerts=alerted().shown.alerts,
        reading=replace(
            feed.shown.reading, true_peak=(-1.4, -0.4), held_peak=(-1.4, -0.4), max_true_peak=-0.4
        ),
    )
    return feed


class PlayingFeed(ScriptedFeed):
    """A programme that gets on by a tenth of a second with so many looks."""

    def __init__(self, start_s: float = 0.0, duration_s: float = 300.0, looks_a_block: int = 1) -> None:
        self._whole = wandering_history(duration_s, -21.5)
        self._looks = round(start_s * 10) * looks_a_block
        self._looks_a_block = looks_a_block
        still = down()
        super().__init__(replace(still.shown, duration_s=duration_s), self._upto())

    def _upto(self) -> Timeline:
        end = min(len(self._whole.seconds), self._looks // self._looks_a_block)
        whole = self._whole
        return Timeline(
            whole.seconds[:end], whole.short_term[:end], whole.integrated[:end], whole.fader_db[:end]
        )

    def snapshot(self) -> Snapshot:
        self._looks += 1
        self.history_shown = self._upto()
        self.change(reading=reading_at(self.history_shown))
        return self.shown


def playing() -> PlayingFeed:
    """A programme in motion."""
    return PlayingFeed(20.0)


SCENES = {
    scene.__name__: scene
    for scene in (
        *(preparing, listening, hold, on_goal, down, up, first_step, past_bound, passed, failed),
        *(alerted, paused, long, surround, playing),
        *(stems, many_stems, spoken, unarmed, arming, armed, lit, riding, crowded),
    )
}

if __name__ == "__main__":
    import tui

    tui.run(SCENES[sys.argv[1] if len(sys.argv) > 1 else "down"]())
