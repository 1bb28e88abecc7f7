"""What the advice asks of a person, on real recordings in both halves of recordings.py. Run on demand:

    python tests/benchmarks/advice_on_recordings.py [--half judging] [--kind songs] [--count 12] [--raw]

Each programme plays as a rough mix in programme time, through the very schedule that a run drives, once a
second: with the fader left alone, and followed, each move made in the second in which it is shown. One in
three is followed once more with an earlier pass known. ``--raw`` judges the forecast alone, shown each
second as it is and followed when it asks for a look, as it was shown before moves held still. ``--blind``
does not say how long a pass is: the advice is then on the gain of a whole pass alone. ``--each`` adds a
line a programme, ``--count`` leaves out so many that about that number is left.
"""

from __future__ import annotations

import argparse
import math
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from landing_ways import GOAL
from recordings import BLOCKS_PER_S, HALVES, Half, Levels, Programme, earlier_pass, rough_mix
from recordings import shows as shows_of
from recordings import songs as songs_of

from sidecar.advice.programme.advisor import Earlier, ProgrammeAdvisor
from sidecar.loudness.limits import is_over, is_under
from sidecar.meter.meter import Blocks
from sidecar.model.advice import Advice, State
from sidecar.model.readings import Move
from sidecar.run.advising import AdviceSchedule
from sidecar.run.metering import Taken
from sidecar.sources import Block

FIRST_LOOK_S = 30.0
SETTLED_S = 90.0
BACK_WITHIN_S = 15.0
EARLIER_EACH = 3
"""Every so manieth programme is played with an earlier pass known too: placing it takes long."""
NEAR_START_DB, NEAR_DB = 3.0, 2.0
NEAR_LU = {"songs": 0.5, "shows": 0.2}
HYSTERESIS_LU = 0.1
MOST_WORDS = 12

_SECOND = BLOCKS_PER_S
_NO_FRAMES = np.zeros((0, 2), np.float32)


class Adviser(Protocol):
    """What is shown to a person in each second of programme."""

    def advise(self, blocks: Programme, gain_db: float) -> Advice:
        """Adds a second as metered behind a fader at *gain_db*; returns what is then shown."""
        ...

    def look(self, blocks: Programme, gain_db: float) -> tuple[Advice, bool]:
        """The same for a person who follows: the advice when looked at last, and whether that is now."""
        ...


class _NoRides(AdviceSchedule):
    """Rides are another matter, and their search is slow."""

    def _seek_rides(self, now_s: float, *, at_rest: bool) -> None:
        pass


class Shown:
    """The advice as a run shows it; a person who follows sees every change."""

    def __init__(self, seconds: float | None, earlier: Levels | None) -> None:
        before = None if earlier is None else Earlier("earlier", earlier)
        self._schedule = _NoRides(GOAL, seconds, before)
        self._seconds = 0

    def advise(self, blocks: Programme, gain_db: float) -> Advice:
        self._schedule.push_blocks(Taken(_metered(blocks)), Block(_NO_FRAMES, gain_db=gain_db))
        self._seconds += 1
        self._schedule.update_advice(float(self._seconds), at_rest=False)
        return self._schedule.advice

    def look(self, blocks: Programme, gain_db: float) -> tuple[Advice, bool]:
        before = self._schedule.advice
        advice = self.advise(blocks, gain_db)
        return advice, advice != before


class Raw:
    """The forecast alone, computed anew each second; a person who follows looks when it asks."""

    def __init__(self, seconds: float | None, earlier: Levels | None) -> None:
        before = None if earlier is None else Earlier("earlier", earlier)
        self._advisor = ProgrammeAdvisor(GOAL, duration_s=seconds, earlier=before)
        self._look_s = FIRST_LOOK_S
        self._looked = Advice()

    def advise(self, blocks: Programme, gain_db: float) -> Advice:
        self._push(blocks, gain_db)
        return self._advice()

    def look(self, blocks: Programme, gain_db: float) -> tuple[Advice, bool]:
        self._push(blocks, gain_db)
        if self._advisor.seconds < self._look_s:
            return self._looked, False
        self._look_s = self._advisor.seconds + self._advisor.look_again_s
        self._looked = self._advice()
        return self._looked, True

    def _push(self, blocks: Programme, gain_db: float) -> None:
        metered = _metered(blocks)
        self._advisor.push_blocks(metered.energy, metered.true_peak, gain_db)

    def _advice(self) -> Advice:
        move = self._advisor.this_pass()
        if move is None:
            return Advice("ended")
        state: State = "listening"
        if math.isfinite(move.landing):
            state = "move" if move.gain_db else "hold"
        return Advice(state, move, lands_this_pass=True)


def _metered(blocks: Programme) -> Blocks:
    silent = np.full(len(blocks.energies), -math.inf)
    peaks = blocks.true_peaks_dbtp
    return Blocks(blocks.energies, blocks.energies[:, None], peaks, peaks[:, None], silent, silent)


@dataclass
class Found:
    """What one kind of programme gave, in one half."""

    changes_a_minute: list[float] = field(default_factory=list)
    there_and_back: int = 0
    unreachable: int = 0
    errors_lu: list[float] = field(default_factory=list)
    passed: list[bool] = field(default_factory=list)
    """Of the same passes, whether the landing as shown, in tenths, is inside the tolerance."""
    earlier_errors_lu: list[float] = field(default_factory=list)
    strays_db: list[float] = field(default_factory=list)
    """One a second of the followed passes, from the 90th on."""
    worst_strays_db: list[float] = field(default_factory=list)
    """The largest of them in each pass."""
    near_start: list[tuple[bool, float]] = field(default_factory=list)
    """Of the passes that began near their gain, whether they stayed near it, and the error in LU."""
    held: dict[str, list[bool]] = field(default_factory=lambda: {"early": [], "middle": [], "late": []})
    quarrels: Counter[str] = field(default_factory=Counter)


@dataclass
class Pass:
    """One pass that was followed."""

    gains_db: Levels
    """Of the fader in each block, shape (n,)."""
    landing: float
    held: list[tuple[float, bool]]
    """At each look: share of the pass that had played, whether the likely range then held the landing."""
    is_held_by_peaks: bool
    """Whether the ceiling held the last move, and the pass ended under the goal for it."""


def unfollowed(mix: Programme, adviser: Adviser, found: Found) -> str:
    """Plays a pass with the fader left alone, and counts what was shown."""
    shown: list[tuple[int, tuple[str, float]]] = []
    for second, blocks in _seconds(mix):
        advice = adviser.advise(blocks, 0.0)
        found.quarrels.update(quarrels(advice))
        if advice.state in ("listening", "ended"):
            continue
        key = (advice.state, round(advice.move.gain_db, 1))
        if not shown or shown[-1][1] != key:
            shown.append((second, key))
    back = _there_and_back(shown)
    found.changes_a_minute.append((len(shown) - 1) / (mix.seconds / 60.0))
    found.there_and_back += back
    return f"{found.changes_a_minute[-1]:5.1f} changes a minute, {back:3d} there and back"


def _there_and_back(shown: list[tuple[int, tuple[str, float]]]) -> int:
    """How often what is shown went from A to B and to A again within 15 s."""
    moments = zip(shown, shown[1:], shown[2:], strict=False)
    return sum(
        first[1] == third[1] and third[0] - second[0] <= BACK_WITHIN_S for first, second, third in moments
    )


def followed(mix: Programme, adviser: Adviser, found: Found) -> Pass:
    """Plays a pass in which each move is made in the second in which it is shown."""
    gains_db = np.zeros(len(mix.energies))
    fader_db, held, last = 0.0, [], Move()
    for second, blocks in _seconds(mix):
        advice, is_look = adviser.look(blocks.raised(fader_db), fader_db)
        now, move = second * _SECOND, advice.move
        if not is_look or now >= len(mix.energies):
            continue
        found.quarrels.update(quarrels(advice))
        fader_db = round(fader_db + move.gain_db, 1)
        gains_db[now:] = fader_db
        if math.isfinite(move.landing):
            landing = mix.raised(gains_db if advice.lands_this_pass else fader_db).lufs
            within = move.landing_low - 1e-6 <= landing <= move.landing_high + 1e-6
            held.append((now / len(mix.energies), within))
        last = move
    landing = mix.raised(gains_db).lufs
    return Pass(gains_db, landing, held, last.limited_by == "ceiling" and landing < GOAL.lowest_lufs)


def _seconds(mix: Programme) -> Iterator[tuple[int, Programme]]:
    """Yields each second of a pass as (seconds played, blocks), the last one shorter."""
    for second, start in enumerate(range(0, len(mix.energies), _SECOND), 1):
        yield second, mix.part(start, start + _SECOND)


def quarrels(advice: Advice) -> Iterator[str]:
    """Yields what in one advice contradicts itself, or breaks what an advice is to be."""
    state, move = advice.state, advice.move
    if (state == "move") != (move.gain_db != 0.0):
        yield f"{state} with a gain" if move.gain_db else "move without a gain"
    if not math.isfinite(move.landing):
        if state in ("hold", "on_goal", "move"):
            yield f"{state} without a landing"
        return
    if state in ("listening", "ended"):
        return
    passes, shown = _passes(move.landing), round(move.landing, 1)
    if not move.landing_low - 1e-6 <= move.landing <= move.landing_high + 1e-6:
        yield "landing outside its own likely range"
    clearly_out = is_under(shown + HYSTERESIS_LU, GOAL.lowest_lufs) or is_over(
        shown - HYSTERESIS_LU, GOAL.highest_lufs
    )
    if state == "on_goal" and clearly_out:
        yield "on goal with a landing that fails"
    explained = advice.more_to_come or move.limited_by or advice.restart_fader_db is not None
    if state == "move" and clearly_out and not explained:
        yield "a move whose own landing fails, without a rest to come"
    if advice.more_to_come and passes:
        yield "first step of more, with a landing that passes"
    if advice.restart_fader_db is not None and passes:
        yield "a start anew, with a landing that passes"
    if len(move.reason.split()) > MOST_WORDS:
        yield f"a reason of more than {MOST_WORDS} words"


def _passes(landing: float) -> bool:
    return not (is_under(landing, GOAL.lowest_lufs) or is_over(landing, GOAL.highest_lufs))


def judge(
    master: Programme, adviser: type[Shown] | type[Raw], found: Found, *, with_earlier: bool, blind: bool
) -> str:
    """Plays a programme in all ways; returns a line of figures."""
    mix = rough_mix(master, GOAL.target_lufs)
    seconds = None if blind else mix.seconds
    whole_db = GOAL.target_lufs - mix.lufs
    line = unfollowed(mix, adviser(seconds, None), found)
    cold = followed(mix, adviser(seconds, None), found)
    strays_db = np.abs(cold.gains_db - whole_db)
    settled = strays_db[round(SETTLED_S * BLOCKS_PER_S) :: _SECOND]
    found.strays_db += list(settled)
    if settled.size:
        found.worst_strays_db.append(float(settled.max()))
    for share, within in cold.held:
        found.held[("early", "middle", "late")[min(int(share * 3.0), 2)]].append(within)
    line += f"; needs {whole_db:+5.1f} dB, at the end {cold.gains_db[-1]:+5.1f}, lands {cold.landing:6.2f}"
    if abs(whole_db) <= NEAR_START_DB:
        stayed = bool(strays_db.max() <= max(NEAR_DB, abs(whole_db)) + 0.05)
        found.near_start.append((stayed, abs(cold.landing - GOAL.target_lufs)))
        line += f", never over {strays_db.max():.1f} from it"
    if cold.is_held_by_peaks or whole_db > GOAL.ceiling_dbtp - mix.true_peaks_dbtp.max():
        found.unreachable += 1
        return line + "; its peaks keep it from the goal"
    found.errors_lu.append(abs(cold.landing - GOAL.target_lufs))
    found.passed.append(_passes(cold.landing))
    if not with_earlier:
        return line
    known = followed(mix, adviser(mix.seconds, earlier_pass(mix)), found)
    found.earlier_errors_lu.append(abs(known.landing - GOAL.target_lufs))
    return f"{line}; with an earlier pass {known.landing:6.2f}"


def report(kind: str, half: Half, found: Found) -> None:
    def within(errors_lu: list[float], limit_lu: float) -> str:
        return f"{sum(error <= limit_lu + 1e-9 for error in errors_lu)} of {len(errors_lu)}"

    near = NEAR_LU[kind]
    strays_db, worst_db = (
        np.quantile(strays, [0.5, 0.9]) for strays in (found.strays_db, found.worst_strays_db)
    )
    changes, programmes = found.changes_a_minute, len(found.changes_a_minute)
    held = " / ".join(f"{np.mean(looks):.0%} of {len(looks)}" for looks in found.held.values() if looks)
    print(f"\n{half} half, {programmes} {kind}; the peaks of {found.unreachable} keep them from the goal")
    print(f"  changes a minute, fader left alone {np.median(changes):.1f}, worst {max(changes):.1f}")
    print(f"  there and back within 15 s         {found.there_and_back}")
    print(f"  cold, within {near} LU             {within(found.errors_lu, near)}")
    print(f"  the same, passes as shown          {sum(found.passed)} of {len(found.passed)}")
    print(f"  with an earlier pass, within 0.2   {within(found.earlier_errors_lu, 0.2)}")
    print(f"  stray after 90 s, median, p90      {strays_db[0]:.1f}, {strays_db[1]:.1f} dB")
    print(f"  the largest of each pass           {worst_db[0]:.1f}, {worst_db[1]:.1f} dB")
    near_errors_lu = [error_lu for _, error_lu in found.near_start]
    stayed = sum(stays for stays, _ in found.near_start)
    print(f"  began within 3 dB: never over 2    {stayed} of {len(near_errors_lu)}")
    print(f"  the same, within {near} LU         {within(near_errors_lu, near)}")
    print(f"  likely range holds, by thirds      {held}")
    print(f"  contradictions                     {found.quarrels.total()}")
    for what, count in found.quarrels.most_common():
        print(f"    {count:6d} × {what}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--half", choices=HALVES, action="append")
    parser.add_argument("--kind", choices=("songs", "shows"), action="append")
    parser.add_argument("--count", type=int, default=1_000, help="programmes of each kind and half")
    either = parser.add_mutually_exclusive_group()
    either.add_argument("--raw", action="store_true", help="the forecast alone, as it was shown each second")
    either.add_argument("--blind", action="store_true", help="the length of a pass is not known")
    parser.add_argument("--each", action="store_true", help="a line for each programme")
    options = parser.parse_args()
    for half in options.half or HALVES:
        for kind in options.kind or NEAR_LU:
            masters = {"songs": songs_of, "shows": shows_of}[kind](half)
            found = Found()
            for place, master in enumerate(masters[:: max(1, -(-len(masters) // options.count))]):
                with_earlier = place % EARLIER_EACH == 0 and not options.blind
                adviser = Raw if options.raw else Shown
                line = judge(master, adviser, found, with_earlier=with_earlier, blind=options.blind)
                if options.each:
                    print(f"{line}  {master.name}", flush=True)
            report(kind, half, found)


if __name__ == "__main__":
    main()
