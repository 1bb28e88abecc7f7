"""Whole runs with an armed fader, invented from a number: what may happen does, in virtual time.

A session measures noise whose level jumps, falls silent and stops being a number, while commands, hands,
gaps, sleeps and pauses come as they like. What leaves for the workstation is judged as it arrives there, with
nothing but the workstation's own knowledge.
"""

from __future__ import annotations

import math
import random
from collections import deque
from dataclasses import dataclass

import numpy as np

from sidecar.model.commands import Acknowledge, Arm, Continue, Disarm, FaderAt, Follow, Nudge, Pause, Reset
from sidecar.model.snapshot import FaderFeedback
from sidecar.run.options import RunOptions
from sidecar.run.remote_fader import RemoteFader
from sidecar.run.session import Session
from sidecar.settings.goals import load_goal
from sidecar.settings.locations import shipped_configs
from sidecar.sources import Block
from sidecar.surfaces.fader_line import FaderLine
from sidecar.surfaces.surface import load_surface

RATE_HZ = 8_000
STEP = RATE_HZ // 10
BLOCKS = 400
LEVELS_DB = (-200.0, -80.0, -50.0, -40.0, -40.0, -30.0, -30.0, -24.0, -20.0, -12.0, 0.0, math.nan)
"""Of white noise, dBFS."""
GOAL = load_goal("r128")
SURFACE = load_surface(shipped_configs() / "surfaces" / "decibels.toml")
STEP_DB = 0.25 + 1e-6
"""A datagram may raise by what the ramp allows for the longest time between two."""
TOTAL_DB = 6.0 + 1e-6
SILENT_PEAK = 10.0 ** (-70.0 / 20.0)


@dataclass(frozen=True)
class Fault:
    """What must not happen, and did."""

    seed: int
    at_s: float
    words: str


class Scenario:
    """One run. is_honest: whether the workstation reports its fader's position, or anything else."""

    title, rate_hz, channels, duration_s = "scenario", RATE_HZ, 1, None

    def __init__(self, seed: int, *, is_honest: bool = True) -> None:
        self.seed, self.is_honest = seed, is_honest
        self.chance = random.Random(seed)
        self.noise = np.random.default_rng(seed)
        self.now_s = 1000.0
        self.faults: list[Fault] = []
        self.datagrams = 0
        self.risen_db = 0.0
        self.fader_db = self.chance.choice([-60.0, -30.0, -18.0, -10.0, -3.0, 0.0, 5.0])
        self.late_s = self.chance.choice([0.0, 0.0, 0.05, 0.3, 0.8, 1.0])
        self.repeat_s = self.chance.choice([0.1, 0.2, 0.5, 1.0, None])
        self._repeat_due_s = self.now_s
        self._reports: deque[tuple[float, float, float]] = deque()
        self._history = deque([(self.now_s, self.fader_db)])
        self._known_s = -math.inf
        self._hands_s: list[float] = []
        self._claimed: tuple[float, float] | None = None
        self._lost_until_s = -math.inf
        self._level_db, self._level_until_s = -30.0, self.now_s
        self._is_silent = self._is_over = True
        self._wire: list[tuple[float, float]] = []
        self._risen_in_pass_db = 0.0
        self._pass_began_s = self.now_s
        self.line = FaderLine(self._arrive, clock=lambda: self.now_s)
        remote = RemoteFader(SURFACE, self.line)
        self.session = Session(self, RunOptions(GOAL, remote=remote, fast=True))

    def run(self) -> list[Fault]:
        self.session.run()
        return self.faults

    def close(self) -> None:
        pass

    # --- the source: time passes here ------------------------------------------------------------

    def blocks(self):
        for _ in range(BLOCKS):
            self.now_s += 0.1
            self._happen()
            self._deliver()
            yield self._block()

    def _block(self) -> Block:
        kind = self.chance.random()
        if kind < 0.0015:
            slept_s = self.chance.uniform(1.0, 4000.0)
            self.now_s += slept_s
            return Block(np.zeros((0, 1), np.float32), slept_s=slept_s)
        if kind < 0.003:
            self.now_s += self.chance.uniform(0.1, 3.0)  # the input, or the machine, is stopped
            return Block(np.zeros((0, 1), np.float32))
        if self.now_s >= self._level_until_s:
            self._level_db = self.chance.choice(LEVELS_DB)
            self._level_until_s = self.now_s + self.chance.uniform(0.2, 8.0)
        frames = self.noise.uniform(-1.0, 1.0, (STEP, 1)) * 10.0 ** (self._level_db / 20.0)
        peak = float(np.max(np.abs(frames)))
        self._is_silent = not peak >= SILENT_PEAK
        self._is_over = peak > 10.0 ** (GOAL.ceiling_dbtp / 20.0)
        return Block(frames.astype(np.float32))

    # --- people, scripts and the workstation ----------------------------------------------------

    def _happen(self) -> None:
        chance = self.chance
        if chance.random() < 0.12:
            command = chance.choice(
                [
                    *[Arm()] * 6,
                    *[Nudge(chance.uniform(-6.0, 12.0))] * 6,
                    *[Follow()] * 2,
                    Nudge(40.0),
                    Disarm(),
                    Reset(),
                    Pause(),
                    Continue(),
                    Continue(),
                    Acknowledge(),
                    FaderAt(chance.uniform(-60.0, 10.0)),
                ]
            )
            if isinstance(command, Reset):
                self._begin_pass()
            self.session.send_command(command)
        if chance.random() < 0.01:
            self._hands_s.append(self.now_s)
            self._move(
                chance.choice([-60.0, self.fader_db - chance.uniform(0.0, 20.0), chance.uniform(-40.0, 6.0)])
            )
            self._report()
        if chance.random() < 0.005:
            self._lost_until_s = self.now_s + chance.uniform(0.5, 6.0)
        if self.repeat_s is not None and self.now_s >= self._repeat_due_s:
            self._repeat_due_s = self.now_s + self.repeat_s
            self._report()

    def _begin_pass(self) -> None:
        """As promised: one that was shorter than a minute renews nothing."""
        if self.now_s - self._pass_began_s >= 60.0:
            self._risen_in_pass_db, self._pass_began_s = 0.0, self.now_s

    def _move(self, position_db: float) -> None:
        self.fader_db = position_db
        self._history.append((self.now_s, position_db))

    def _report(self) -> None:
        if self.now_s < self._lost_until_s:
            return
        said_db = self.fader_db if self.is_honest else self._lie()
        arrives_s = self.now_s + self.chance.uniform(0.0, self.late_s)
        arrives_s = max(arrives_s, self._reports[-1][0]) if self._reports else arrives_s
        self._reports.append((arrives_s, self.now_s, said_db))

    def _lie(self) -> float:
        chance = self.chance
        return chance.choice(
            [self.fader_db, self._history[0][1], chance.uniform(-60.0, 6.0), self.fader_db + 3.0, -math.inf]
        )

    def _deliver(self) -> None:
        while self._reports and self._reports[0][0] <= self.now_s:
            _, said_s, said_db = self._reports.popleft()
            self._known_s = said_s
            received_s = self.line.confirm(said_db)
            self._claimed = (received_s, said_db)
            self.session.report_fader(FaderFeedback(said_db, received_s))

    # --- the judge: a datagram arrives -----------------------------------------------------------

    def _arrive(self, position_db: float) -> None:
        self.datagrams += 1
        before_db, since_s = self.fader_db, self._known_s
        reference_db = self._highest_since(since_s) if self.is_honest else self._claimed[1] + 0.5
        rise_db = position_db - max(reference_db, before_db if self.is_honest else -math.inf)
        if rise_db > STEP_DB:
            self._fault(f"leapt by {rise_db:.2f} dB, from {before_db:.2f} to {position_db:.2f}")
        if self.now_s - self._claimed[0] > 2.0 + 1e-6:
            self._fault(f"moved {self.now_s - self._claimed[0]:.1f} s after the last report")
        # A hand whose report is still on its way cannot be known of: the way down may pass above it.
        known_db = max(reference_db, before_db) if self.is_honest else self._claimed[1]
        is_rise = position_db > known_db + 1e-9
        if is_rise and self._is_silent:
            self._fault("rose in silence")
        if is_rise and self._is_over:
            self._fault("rose over the ceiling")
        self._wire = [(at_s, db) for at_s, db in self._wire if self.now_s - at_s <= 1.0]
        self._count(position_db, max(reference_db, before_db) if self.is_honest else None)
        self._move(position_db)
        self._wire.append((self.now_s, position_db))
        self._report()

    def _count(self, position_db: float, reference_db: float | None) -> None:
        """Rises of the last second, and of the pass."""
        began_s, began_db = self._wire[0] if self._wire else (self.now_s, position_db)
        rise_db = position_db - began_db
        if rise_db > 1.0 + STEP_DB and not (self.is_honest and self._hand_since(began_s)):
            self._fault(f"rose by {rise_db:.2f} dB in a second")
        if reference_db is not None:
            self._risen_in_pass_db = max(0.0, self._risen_in_pass_db + position_db - reference_db)
            self.risen_db = max(self.risen_db, self._risen_in_pass_db)
            if self._risen_in_pass_db > TOTAL_DB:
                self._fault(f"rose by {self._risen_in_pass_db:.2f} dB in a pass")

    def _hand_since(self, from_s: float) -> bool:
        return any(at_s > from_s for at_s in self._hands_s)

    def _highest_since(self, from_s: float) -> float:
        """Where the fader may still have been, for all that the sidecar can know."""
        if not self._hand_since(from_s):
            return self.fader_db
        known_db = self._history[0][1]
        highest_db = -math.inf
        for at_s, position_db in self._history:
            if at_s <= from_s:
                known_db = position_db
            else:
                highest_db = max(highest_db, position_db)
        return max(known_db, highest_db)

    def _fault(self, words: str) -> None:
        self.faults.append(Fault(self.seed, self.now_s - 1000.0, words))
