"""The version of the measuring is raised with every change of what files measure: a golden file says so.

The signals are written out by formula, so that they are the same everywhere. To renew the golden file after a
change that is meant: raise ``MEASURING`` and run this file as a program.
"""

import json
import math
from pathlib import Path

import numpy as np
import pytest
import soundfile

from sidecar.delivery.batch.packing import pack
from sidecar.delivery.measure.whole_file import MEASURING, measure

GOLDEN = Path(__file__).parent / "golden" / "measuring.json"
RATE_HZ = 48_000
SUMMED = 2e-4
"""LU or dB: how far sums may differ with the order in which a processor adds."""


def signals():
    """By name: samples, shape (n, channels), and encoding."""
    t = np.arange(8 * RATE_HZ) / RATE_HZ
    swell = 0.02 + 0.3 * np.sin(math.pi * t / 8.0) ** 2
    tone = np.sin(2 * math.pi * 997 * t)
    stereo = np.stack([swell * tone, swell * np.sin(2 * math.pi * 440 * t)], axis=1)
    damaged = stereo.copy()
    damaged[RATE_HZ : RATE_HZ + 200] = 0.0  # a dropout in both channels
    damaged[2 * RATE_HZ : 2 * RATE_HZ + 5, 0] = 1.0  # clipped
    damaged[:, 1] += 0.01  # a DC offset
    damaged[4 * RATE_HZ : 4 * RATE_HZ + 250] = (0.2, -0.1)  # held samples
    damaged[5 * RATE_HZ : 6 * RATE_HZ + 4800] = 0.0  # digital silence
    surround = np.stack([0.1 * np.sin(2 * math.pi * hz * t) for hz in (200, 300, 500, 60, 700, 1100)], axis=1)
    return {
        "stereo.wav": (stereo, "PCM_24"),
        "damaged.flac": (damaged, "PCM_16"),
        "surround.aiff": (surround, "PCM_16"),
        "mono.wav": (stereo[:, :1], "FLOAT"),
    }


def figures(folder):
    """What is kept of each, without the file's own name."""
    kept = {}
    for name, (samples, encoding) in signals().items():
        soundfile.write(folder / name, samples, RATE_HZ, encoding)
        text, _ = pack(measure(folder / name, workers=1), ())
        kept[name] = json.loads(text)
        del kept[name]["crc32"]  # of the last digit too, which summing in another order may change
    return kept


def flat(value, place=""):
    """Place and value of every leaf."""
    if isinstance(value, dict | list):
        pairs = value.items() if isinstance(value, dict) else enumerate(value)
        for key, inner in pairs:
            yield from flat(inner, f"{place}/{key}")
        return
    yield place, value


def test_files_measure_as_the_version_says(tmp_path):
    golden = json.loads(GOLDEN.read_text(encoding="utf-8"))
    measured, expected = dict(flat(figures(tmp_path))), dict(flat(golden["figures"]))
    advice = "raise MEASURING in sidecar/delivery/measure/whole_file.py and run this file as a program"

    assert golden["version"] == MEASURING, advice
    assert measured.keys() == expected.keys(), advice
    for place, value in measured.items():
        if isinstance(value, float):
            assert value == pytest.approx(expected[place], abs=SUMMED), f"{place}: {advice}"
        else:
            assert value == expected[place], f"{place}: {advice}"


def test_the_signals_show_every_kind_of_fact(tmp_path):
    """A golden file in which nothing happens would guard nothing."""
    facts = figures(tmp_path)["damaged.flac"]["measured"]["facts"]

    assert facts["gaps"]
    assert facts["silences"]
    assert facts["held"]
    assert facts["clipped_runs"] == 1
    assert facts["dc_offset"][1] > 0.005


if __name__ == "__main__":
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        content = {"version": MEASURING, "figures": figures(Path(folder))}
    GOLDEN.parent.mkdir(exist_ok=True)
    GOLDEN.write_text(json.dumps(content, indent=1) + "\n", encoding="utf-8")
