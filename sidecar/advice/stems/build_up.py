"""A rough balance from silence: one fader after the other."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sidecar.advice.faders.tapers import FaderLimits
from sidecar.advice.programme.bootstrap import spread_lu
from sidecar.advice.stems.history import StemHistory
from sidecar.advice.stems.search import shared_changes_db, together
from sidecar.advice.wording import ceiling, level
from sidecar.loudness.series import Floats
from sidecar.model.readings import SILENCE, Limit, Move
from sidecar.model.units import figure
from sidecar.settings.goals import Goal

CAUTION = "Caution: turn the monitors down before opening faders, and bring each one up slowly."

ROUGH_OFFSET_LU = 6.0
"""The rest under the anchor where none was asked for: leaves the anchor 1 LU under the target, which is
where Tech 3343 §3.2 wants the foreground (10·log10(1 + 10^-0.6) = 1.0)."""

_ROUNDS = 4
_FURTHEST_DB, _HALVINGS = 60.0, 12
"""To within 0.03 dB: faders move in tenths."""


@dataclass(frozen=True, slots=True)
class BuildStep:
    """One fader to bring up."""

    name: str
    """The stem's."""
    fader_db: float
    """Where to bring it, whole tenths."""
    move: Move
    """Its change from its last open position; the landing is that of the mix so far."""
    caution: str = ""
    """Caution before the first one; empty for the others."""


def build_up(
    history: StemHistory,
    names: Sequence[str],
    goal: Goal,
    limits: FaderLimits,
    anchor: int | None,
    offset_lu: float | None,
    ldr_lu: float | None = None,
) -> list[BuildStep]:
    """Steps from silence to a mix on target: the anchor, then the rest by energy, equally loud.

    Together the rest lies *offset_lu* under the anchor while that sounds, or brings the mix to *ldr_lu* over
    it where that is asked for. Silent stems are left out.
    """
    own = np.array([history.gated(_opened([stem], np.zeros(len(names)))).lufs for stem in range(len(names))])
    order = _order(history, own, anchor)
    if not order:
        return []
    wanted_db = np.where(np.isfinite(own), -own, SILENCE)
    if anchor in order and len(order) > 1:
        offset = ROUGH_OFFSET_LU if offset_lu is None else offset_lu
        wanted_db[order[1:]] += (
            _rest_db(history, wanted_db, order, offset)
            if ldr_lu is None
            else _rest_at_ldr_db(history, wanted_db, order, ldr_lu)
        )
    levels_db = np.round(wanted_db + _landing_shift_db(history, wanted_db, order, goal), 1)
    held_db = np.clip(levels_db, limits.lowest_db, limits.highest_db)
    return [
        _step(history, names, goal, order[: place + 1], (levels_db, held_db)) for place in range(len(order))
    ]


def _order(history: StemHistory, own: Floats, anchor: int | None) -> list[int]:
    energy = [
        float(history.energies(_opened([stem], history.last_open_db)).sum()) for stem in range(len(own))
    ]
    sounding = [stem for stem in range(len(own)) if math.isfinite(own[stem])]
    return sorted(sounding, key=lambda stem: (stem != anchor, -energy[stem]))


def _rest_db(history: StemHistory, levels_db: Floats, order: Sequence[int], offset_lu: float) -> float:
    """How far all but the first lie off their offset under it, while it sounds."""
    anchor = order[0]
    alone = history.gated(_opened([anchor], levels_db))
    amplitude = 10.0 ** (levels_db / 20.0)
    products = history.mean_products(alone.weights) * np.outer(amplitude, amplitude)
    energy = float(products[anchor, anchor]) * 10.0 ** (-offset_lu / 10.0)
    products[anchor, :] = products[:, anchor] = 0.0
    everything = together(np.ones(len(levels_db), dtype=np.bool_))
    return float(np.nan_to_num(shared_changes_db(products, everything, energy)[0]))


def _rest_at_ldr_db(history: StemHistory, levels_db: Floats, order: Sequence[int], ldr_lu: float) -> float:
    """How far to move all but the first so that the mix reads *ldr_lu* more than it, by halving."""
    wanted_lufs = history.gated(_opened(order[:1], levels_db)).lufs + ldr_lu
    low_db, high_db = -_FURTHEST_DB, _FURTHEST_DB
    for _ in range(_HALVINGS):
        middle_db = (low_db + high_db) / 2.0
        moved_db = levels_db.copy()
        moved_db[order[1:]] += middle_db
        if history.gated(_opened(order, moved_db)).lufs < wanted_lufs:
            low_db = middle_db
        else:
            high_db = middle_db
    return (low_db + high_db) / 2.0


def _landing_shift_db(history: StemHistory, levels_db: Floats, order: Sequence[int], goal: Goal) -> float:
    """One change of all that lands the mix; the absolute gate makes it more than a difference."""
    shift_db = goal.target_lufs
    for _ in range(_ROUNDS):
        lufs = history.gated(_opened(order, levels_db + shift_db)).lufs
        if not math.isfinite(lufs) or abs(goal.target_lufs - lufs) < 0.01:
            break
        shift_db += goal.target_lufs - lufs
    return shift_db


def _step(
    history: StemHistory,
    names: Sequence[str],
    goal: Goal,
    opened: Sequence[int],
    levels_db: tuple[Floats, Floats],
) -> BuildStep:
    """The last one of *opened* is brought up. levels_db: as wanted, and as the range allows."""
    wanted_db, held_db = levels_db
    stem = opened[-1]
    faders_db = _opened(opened, held_db)
    gated, peaks = history.gated(faders_db), history.peak_bound(faders_db)
    low, high = spread_lu(gated.powers)
    fader_db = float(held_db[stem])
    limit: Limit | None = "range" if fader_db != wanted_db[stem] else None
    reason = f"{names[stem]} to {figure(fader_db)} dB: the mix so far lies at {level(gated.lufs, goal)}."
    if limit:
        reason += f" It would need {figure(float(wanted_db[stem]))} dB, which its fader does not have."
    if peaks.dbtp < math.inf and peaks.dbtp > goal.ceiling_dbtp:
        limit = "ceiling"
        reason += f" Peaks may reach, at most, {figure(peaks.dbtp)} dBTP, over the {ceiling(goal)} ceiling."
    change_db = round(fader_db - float(history.last_open_db[stem]), 1)
    move = Move(change_db, gated.lufs, gated.lufs + low, gated.lufs + high, limit, reason)
    return BuildStep(names[stem], fader_db, move, CAUTION if len(opened) == 1 else "")


def _opened(stems: Sequence[int], levels_db: Floats) -> Floats:
    """*levels_db* where *stems* are, all other faders closed."""
    faders_db = np.full(len(levels_db), SILENCE)
    faders_db[list(stems)] = levels_db[list(stems)]
    return faders_db
