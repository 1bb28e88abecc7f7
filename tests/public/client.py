"""A program that uses the public names, as a type checker sees it. It is checked, never run.

Each ``type: ignore`` names the error that a checker must find there: one that it does not find is refused.
"""

from pathlib import Path
from typing import assert_type

import numpy as np
from numpy.typing import NDArray

import sidecar


def read_a_file(path: Path) -> float:
    measured = sidecar.measure(path, "stereo", progress=lambda share: print(f"{share:.0%}"), workers=1)
    assert_type(measured, sidecar.Measured)
    assert_type(measured.reading, sidecar.Reading)
    assert_type(measured.facts.silences, tuple[sidecar.Silence, ...])
    assert_type(measured.history.true_peak, NDArray[np.float32])
    assert_type(measured.max_true_peak_at_s, float | None)
    return measured.reading.integrated


def check_a_file(name: str) -> list[str]:
    ours = sidecar.Goal("ours", "Our own", -20.0, 0.5, 0.5, -1.5, -17.0)
    checked = sidecar.check(name, "r128", ours, layout="stereo")
    assert_type(checked.passes, bool)
    (verdict, _) = checked.verdicts
    assert_type(verdict.remedy, sidecar.Remedy | None)
    assert_type(verdict.move_db, float | None)
    return [finding.sentence for finding in verdict.findings if finding.kind == "fault"]


def advise(frames: NDArray[np.float32], fader_db: float) -> sidecar.Move:
    meter = sidecar.Meter(48_000, "5.1")
    meter.push(frames)
    blocks = meter.take_blocks()
    assert_type(blocks.energy, NDArray[np.float64])
    advisor = sidecar.LandingAdvisor(sidecar.load_goal("r128"), duration_s=3600)
    advisor.push(blocks.energy, fader_db, blocks.true_peak)
    return advisor.this_pass()


def balance(frames: NDArray[np.float32], faders_db: list[float]) -> dict[str, sidecar.Move]:
    meter = sidecar.StemMeter(48_000, stems=2)
    meter.push(frames)
    blocks = meter.take_blocks()
    goal, *_ = sidecar.all_goals()
    stems = sidecar.StemAdvisor(
        ["voice", "rest"], goal, anchor="voice", limits=sidecar.FaderLimits(step_up_db=1.0)
    )
    stems.push(blocks.covariance, np.tile(faders_db, (len(blocks.covariance), 1)), blocks.true_peak)
    assert_type(stems.loudness(faders_db), float)
    assert_type(stems.build_up(), list[sidecar.BuildStep])
    return stems.moves()


def report(name: str) -> str:
    try:
        sidecar.check(name, "r128", dialogue=True)
    except sidecar.DeviceLost:
        return "gone"
    except (sidecar.SourceError, sidecar.SignalError, sidecar.SettingsError) as error:
        return f"{sidecar.__version__}: {error}"
    return ""


def misuse(reading: sidecar.Reading) -> None:
    sidecar.mesure("mix.wav")  # type: ignore[attr-defined]
    sidecar.check("mix.wav")  # type: ignore[call-arg]
    sidecar.LandingAdvisor("r128")  # type: ignore[arg-type]
    sidecar.Meter().push([0.0, 0.0])  # type: ignore[arg-type]
    reading.integrated = -23.0  # type: ignore[misc]
