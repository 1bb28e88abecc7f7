"""What dialogue loudness costs a live run, by processor time: finding speech in the mix, and a look.

Run: python tests/benchmarks/dialogue_live.py [FILE]
FILE: a sound file to search; without it noise, which costs the same. Prints the share of one core, and the
time that one update of ten a second takes after a minute, an hour and a day.
"""

from __future__ import annotations

import sys
import time

import numpy as np
import soundfile

from sidecar.meter.layouts import layout_from
from sidecar.meter.meter import Blocks
from sidecar.run.dialogue import RunDialogue
from sidecar.run.metering import Taken
from sidecar.speech.detector import SpeechDetector
from sidecar.speech.model import PackagedModel

RATE_HZ = 48_000
SECONDS = 60
ROUNDS = 3
BLOCK_FRAMES = 1_024
LOOKS = 300


def frames() -> np.ndarray:
    if len(sys.argv) > 1:
        return soundfile.read(sys.argv[1], dtype="float32", always_2d=True, frames=SECONDS * RATE_HZ)[0]
    noise = 0.05 * np.random.default_rng(0).standard_normal((SECONDS * RATE_HZ, 2))
    return noise.astype(np.float32)


def detection_share(sound: np.ndarray) -> float:
    """The least of some rounds: the one that was disturbed least."""
    taken = []
    for _ in range(ROUNDS):
        detector = SpeechDetector(RATE_HZ, layout_from("stereo"), PackagedModel())
        start = time.process_time()
        for at in range(0, len(sound), BLOCK_FRAMES):
            detector.push(sound[at : at + BLOCK_FRAMES])
        taken.append(time.process_time() - start)
    return min(taken) / (len(sound) / RATE_HZ)


def blocks(energies: np.ndarray) -> Taken:
    empty = np.empty(0)
    return Taken(Blocks(energies, energies[:, None], *[empty] * (len(Blocks.__dataclass_fields__) - 2)))


def look_ms(hours: float) -> float:
    dialogue = RunDialogue()
    dialogue.mark(is_on=True)
    energies = 10.0 ** np.random.default_rng(1).uniform(-4.0, -2.0, round(hours * 36_000))
    for at in range(0, len(energies), 1_000):
        dialogue.push_blocks(blocks(energies[at : at + 1_000]))
    dialogue.reading(-23.0)
    start = time.process_time()
    for at in range(LOOKS):
        dialogue.push_blocks(blocks(energies[at : at + 1]))
        dialogue.reading(-23.0)
    return 1e3 * (time.process_time() - start) / LOOKS


def main() -> None:
    print(f"detection: {100.0 * detection_share(frames()):.2f} % of a core")
    for name, hours in (("a minute", 1 / 60), ("an hour", 1.0), ("a day", 24.0)):
        print(f"a look after {name}: {look_ms(hours):.2f} ms")


if __name__ == "__main__":
    main()
