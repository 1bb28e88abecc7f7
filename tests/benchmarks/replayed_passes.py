"""Whether a pass that is played again is recognised, and how well it is forecast, on real recordings:

    python tests/benchmarks/replayed_passes.py [--half judging] [--count 12]

Each piece of music plays twice through the meter, both times after a silence of its own length, so that the
blocks of the second pass lie at another phase; the second 5 dB softer, with the fader reported there. Its
landing is forecast at five moments with the fader left alone.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import soundfile
from landing_ways import GOAL
from recordings import HALVES, Levels, draw, wav_files

from sidecar import LandingAdvisor, Meter

SHARES = (0.15, 0.25, 0.5, 0.75, 0.9)
LOWER_DB = 5.0
LONGEST_S, SILENCE_S, TAIL_S = 240, 6.0, 3.0
STRAY_DB = 2.0


def energies(lead_s: float, frames: Levels, rate_hz: int) -> Levels:
    """100 ms energies of *frames* after so much silence, and before a little more."""
    meter, found = Meter(rate_hz, "stereo"), []
    silences = (np.zeros((round(seconds * rate_hz), 2)) for seconds in (lead_s, TAIL_S))
    whole = np.concatenate([next(silences), frames, next(silences)]).astype(np.float32)
    for first in range(0, len(whole), rate_hz):
        meter.push(whole[first : first + rate_hz])
        found.append(meter.take_blocks().energy)
    return np.concatenate(found)


def replay(file: Path) -> list[tuple[bool, float, float]]:
    """Whether the earlier pass fits at each moment, the error of the landing, half its likely range (LU)."""
    frames, rate_hz = soundfile.read(file, frames=LONGEST_S * soundfile.info(file).samplerate, always_2d=True)
    frames = np.broadcast_to(frames, (len(frames), 2)) if frames.shape[1] == 1 else frames
    first_s, again_s = draw(file.name, "replayed").uniform(0.5, SILENCE_S, 2)
    earlier = energies(first_s, frames, rate_hz)
    playing = energies(again_s, frames * 10.0 ** (-LOWER_DB / 20.0), rate_hz)
    advisor, looks = LandingAdvisor(GOAL, len(playing) / 10.0, earlier), []
    ends = [round(len(playing) * share) for share in SHARES]
    for begin, end in zip([0, *ends], [*ends, len(playing)], strict=True):
        if begin:
            move, fit = advisor.outlook(STRAY_DB).at(0.0), advisor.earlier_fit
            looks.append((fit.fits, move.landing, (move.landing_high - move.landing_low) / 2.0))
        advisor.push(playing[begin:end], -LOWER_DB, -20.0)
    return [(fits, abs(landing - advisor.landing), half_lu) for fits, landing, half_lu in looks]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--half", choices=HALVES, default="judging")
    parser.add_argument("--count", type=int, default=12)
    options = parser.parse_args()
    files = list(wav_files(options.half))
    found = []
    for file in files[:: max(1, len(files) // options.count)][: options.count]:
        found.append(replay(file))
        looks = ", ".join(
            f"{'fits' if fits else 'DOES NOT FIT'} {off:.2f} ±{half:.2f}" for fits, off, half in found[-1]
        )
        print(f"{file.name[:40]:40} {looks}", flush=True)
    for place, share in enumerate(SHARES):
        fits, off_lu, _ = zip(*(looks[place] for looks in found), strict=True)
        print(
            f"{share:4.0%}: fits {sum(fits)} of {len(found)}; off by {np.median(off_lu):.2f} LU, "
            f"at most {max(off_lu):.2f}"
        )


if __name__ == "__main__":
    main()
