"""What lossy coding makes of a file's peaks, in a sentence."""

from __future__ import annotations

import math

from sidecar.delivery.judge.findings import Finding
from sidecar.delivery.measure.coding import Coded
from sidecar.loudness.limits import is_over
from sidecar.model.timecode import FROM_FIRST_FRAME, Clock
from sidecar.model.units import figure
from sidecar.settings.goals import Goal


def coding_note(
    made: tuple[Coded, ...], before_dbtp: float, goal: Goal, clock: Clock = FROM_FIRST_FRAME
) -> Finding:
    """What came of it in a sentence, and how much lower the file would have to be."""
    if not made:
        sentence = "No coder on this machine accepts this file. Its peaks after lossy coding are unknown."
        return Finding("note", "coding", sentence)
    each = ", ".join(
        f"{figure(one.true_peak_dbtp)} dBTP after {one.coder} at {one.quality}"
        + ("" if one.at_s is None else f" ({clock.words(one.at_s)})")
        for one in made
    )
    highest = max(one.true_peak_dbtp for one in made)
    advice = ""
    if is_over(highest, goal.ceiling_dbtp) and math.isfinite(highest):
        lower_db = math.ceil((highest - goal.ceiling_dbtp) * 10.0 - 1e-6) / 10.0
        advice = (
            f" About {figure(lower_db)} dB less would bring it under {figure(goal.ceiling_dbtp)} dBTP there."
        )
    caution = (
        " Other encoders and bit rates differ. EBU Tech 3343 §11.2.3 asks for more headroom before lossy "
        "coding."
    )
    return Finding("note", "coding", f"True peak {each}; {figure(before_dbtp)} dBTP before.{advice}{caution}")
