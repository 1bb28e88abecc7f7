"""How well automatic detection measures the dialogue loudness of real speech over real music. Run on demand:

    pip install 'loudness-sidecar[dialogue]' G722
    nice python tests/benchmarks/dialogue_on_recordings.py --half judging [--only mixes|music]
    nice python tests/benchmarks/dialogue_on_recordings.py --cost

Speech: telephone prompts of one speaker a language, as they come (8 kHz, which ends at 4 kHz) and as G.722
(16 kHz, which ends at 7 kHz), joined with pauses of 0.2 to 1.2 s to talks of 10 to 35 s, with 4 to 12 s
between them. Under each a piece of music goes on all the time, as it was mastered, at so many LU under the
speech (both by their integrated loudness). Languages and songs belong to a half as in recordings.py: the
detector's figures were chosen on the tuning half alone.

Asked is the speech stem's own integrated loudness. Where the stem is within 20 LU of it, speech is taken to
be there, pauses of up to 0.3 s included (ours): that is what 100 ms blocks are classified against.
Music alone: a minute of every piece from its 15th second on.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import gcd
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import recordings
import soundfile
from numpy.typing import NDArray
from recordings import Half, integrated
from scipy.signal import resample_poly

from sidecar.delivery.measure.dialogue import detected_dialogue
from sidecar.delivery.measure.whole_file import measure
from sidecar.loudness.dialogue import dialogue_loudness
from sidecar.loudness.gating import loudness_of
from sidecar.loudness.statistics import runs
from sidecar.meter import Meter
from sidecar.meter.layouts import layout_from
from sidecar.speech.detector import SpeechDetector, joined
from sidecar.speech.model import PackagedModel

RATE_HZ = 48_000
BEDS_LU = (0, 5, 10, 15, 20, None)
LEVEL_LUFS = -23.0
LANGUAGES: dict[Half, tuple[str, ...]] = {"tuning": ("fr", "en"), "judging": ("es", "it", "ru")}
SHORTEST_PROMPT_S = 2.0
TALKED_S = 90.0
Frames = NDArray[np.float32]
MODEL = PackagedModel()


@dataclass(frozen=True, slots=True)
class Outcome:
    """What one mix came to."""

    error_lu: float
    """Dialogue loudness less the stem's."""
    classified_correctly: float
    found: float
    """Share of the speech that was found."""
    confidence: float


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--half", choices=recordings.HALVES, default="judging")
    parser.add_argument("--programmes", type=int, default=2, help="of each language and band")
    parser.add_argument("--only", choices=("mixes", "music"), help="one of the two")
    parser.add_argument("--cost", action="store_true", help="processor time alone")
    options = parser.parse_args()
    if options.cost:
        print_cost()
        return
    songs = list(_songs(options.half))
    if options.only != "music":
        print_mixes(options.half, options.programmes, songs)
    if options.only != "mixes":
        print_music(songs)


def print_mixes(half: Half, programmes: int, songs: list[Path]) -> None:
    rng = recordings.draw("dialogue", half)
    order = rng.permutation(len(songs))
    outcomes: dict[tuple[str, int | None], list[Outcome]] = {}
    number = 0
    for band, prompts_of in (("8 kHz", _narrow), ("16 kHz", _wide)):
        for language in LANGUAGES[half]:
            prompts = list(prompts_of(language))
            for _ in range(programmes):
                song = songs[order[number % len(songs)]]
                number += 1
                stem = _at_level(_talks(rng, prompts))
                bed = _at_level(_excerpt(rng, song, len(stem)))
                for under_lu in BEDS_LU:
                    mix = stem if under_lu is None else stem + bed * np.float32(10 ** (-under_lu / 20))
                    outcomes.setdefault((band, under_lu), []).append(_outcome(stem, mix))
                print(f"  {band} {language} over {recordings._title(song)}", flush=True)
    print("| speech | bed | median error | worst | the bed adds | blocks right | found | sure | least sure |")
    for (band, under_lu), found in outcomes.items():
        errors = np.array([outcome.error_lu for outcome in found])
        adds = 0.0 if under_lu is None else 10 * np.log10(1 + 10 ** (-under_lu / 10))
        rest = [
            np.mean([getattr(each, name) for each in found])
            for name in ("classified_correctly", "found", "confidence")
        ]
        rest.append(min(each.confidence for each in found))
        bed = "none" if under_lu is None else f"{under_lu} LU under"
        print(
            f"| {band}, {len(found)} mixes | {bed} | {np.median(errors):+.2f} | "
            f"{errors[np.argmax(np.abs(errors))]:+.2f} | {adds:+.2f} | "
            + " | ".join(f"{share:.1%}" for share in rest)
            + " |"
        )


def print_music(songs: list[Path]) -> None:
    shares = []
    for song in songs:
        with soundfile.SoundFile(song) as file:
            file.seek(15 * file.samplerate)
            frames = _stereo(file.read(60 * file.samplerate, dtype="float32", always_2d=True))
        speech, probability = _found(_at_level(frames, file.samplerate), file.samplerate)
        shares.append(float(np.mean(speech)))
        if shares[-1] > 0.005:
            sure = np.mean(probability[speech])
            print(f"  {shares[-1]:6.1%}, {sure:.1%} sure  {recordings._title(song)}", flush=True)
    print(
        f"music alone: {np.mean(shares):.2%} of {len(shares)} minutes taken for speech; "
        f"median {np.median(shares):.2%}; {sum(share > 0.02 for share in shares)} pieces over 2 %"
    )


def print_cost() -> None:
    """Processor time of the detector live, in blocks of 20 ms, and of a check with and without it."""
    (song, *_) = _songs("tuning")
    frames = _decoded(song, 0.0, 80.0)
    detector = SpeechDetector(RATE_HZ, layout_from("stereo"), MODEL)
    step = RATE_HZ // 50

    def live() -> None:
        for at in range(0, len(frames), step):
            detector.push(frames[at : at + step])
        detector.finish()

    print(f"live, 48 kHz stereo: {_least_cpu_s(live) / len(frames) * RATE_HZ:.2%} of a core")
    with TemporaryDirectory() as folder:
        for name, kind in (("mix.wav", "PCM_16"), ("mix.wav", "PCM_24"), ("mix.flac", "PCM_24")):
            path = Path(folder) / name
            soundfile.write(path, np.concatenate([frames] * 4), RATE_HZ, kind)
            measured = measure(path, workers=1)
            plain = _least_cpu_s(lambda path=path: measure(path, workers=1))
            search = _least_cpu_s(lambda measured=measured: detected_dialogue(measured, workers=1))
            speeds = (4 * len(frames) / RATE_HZ / seconds for seconds in (plain, search, plain + search))
            print(
                f"{name}, {kind}: measured {{:.0f}}, searched {{:.0f}}, both {{:.0f}} times real time".format(
                    *speeds
                )
            )


def _least_cpu_s(work: Callable[[], object], rounds: int = 5) -> float:
    taken = []
    for _ in range(rounds):
        begun = time.process_time()
        work()
        taken.append(time.process_time() - begun)
    return min(taken)


def _outcome(stem: Frames, mix: Frames) -> Outcome:
    own = _energies(stem)
    speech, probability = _found(mix)
    found = dialogue_loudness(_energies(mix), speech, probability, found_by="detector")
    truth = _speech_in(own)
    return Outcome(
        found.dialogue_lufs - integrated(own),
        float(np.mean(speech == truth)),
        float(np.mean(speech[truth])),
        found.confidence,
    )


def _speech_in(energies: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Which blocks of a stem have speech."""
    speech = loudness_of(energies) > integrated(energies) - 20.0
    for start, stop in list(runs(speech, 3)):
        speech[start:stop] = True
    return speech


def _found(frames: Frames, rate_hz: int = RATE_HZ) -> tuple[NDArray[np.bool_], NDArray[np.float64]]:
    detector = SpeechDetector(rate_hz, layout_from("stereo"), MODEL)
    found = joined([detector.push(frames), detector.finish()])
    return found.speech, found.probability


def _energies(frames: Frames, rate_hz: int = RATE_HZ) -> NDArray[np.float64]:
    meter = Meter(rate_hz, "stereo")
    meter.push(frames)
    return meter.take_blocks().energy


def _at_level(frames: Frames, rate_hz: int = RATE_HZ) -> Frames:
    return frames * np.float32(10 ** ((LEVEL_LUFS - integrated(_energies(frames, rate_hz))) / 20))


def _talks(rng: np.random.Generator, prompts: list[Frames]) -> Frames:
    """A speaker in both channels, 90 s and more, with nothing between the talks."""
    parts: list[Frames] = []
    order = iter(np.tile(rng.permutation(len(prompts)), 20))
    while sum(map(len, parts)) < TALKED_S * RATE_HZ:
        parts.append(_silence(rng.uniform(4.0, 12.0)))
        until = sum(map(len, parts)) + rng.uniform(10.0, 35.0) * RATE_HZ
        while sum(map(len, parts)) < until:
            parts += [prompts[next(order)], _silence(rng.uniform(0.2, 1.2))]
    mono = np.concatenate(parts)
    return np.stack([mono, mono], axis=1)


def _silence(seconds: float) -> Frames:
    return np.zeros(round(seconds * RATE_HZ), np.float32)


def _narrow(language: str) -> Iterator[Frames]:
    for file in _spoken(recordings.sound_files(f"asterisk-core-sounds-{language}-wav")):
        samples, rate_hz = soundfile.read(file, dtype="float32")
        if len(samples) >= SHORTEST_PROMPT_S * rate_hz:
            yield _resampled(samples, rate_hz)


def _wide(language: str) -> Iterator[Frames]:
    try:
        from G722 import G722
    except ImportError as error:
        raise SystemExit("Prompts at 16 kHz are coded in G.722: pip install G722") from error
    coded_files = recordings.unpacked(f"asterisk-core-sounds-{language}-g722").rglob("*.g722")
    for file in _spoken(sorted(coded_files)):
        coded = file.read_bytes()
        if len(coded) >= SHORTEST_PROMPT_S * 8_000:  # 64 kbit/s
            yield _resampled(np.array(G722(16_000, 64_000).decode(coded), np.float32) / 2**15, 16_000)


def _spoken(files: list[Path]) -> Iterator[Path]:
    """All but the one of two seconds and more without speech."""
    return (file for file in files if file.stem != "tt-monkeys")


def _songs(half: Half) -> Iterator[Path]:
    for package in recordings.MUSIC[half]:
        for file in recordings.sound_files(package):
            if recordings.SHORTEST_SONG_S <= soundfile.info(file).duration <= recordings.LONGEST_SONG_S:
                yield file


def _excerpt(rng: np.random.Generator, song: Path, frames: int) -> Frames:
    """So many frames from anywhere in a song, which begins again where it ends before."""
    whole = _decoded(song)
    start = int(rng.integers(len(whole)))
    return np.take(whole, range(start, start + frames), axis=0, mode="wrap")


def _decoded(song: Path, start_s: float = 0.0, seconds: float | None = None) -> Frames:
    """A stretch of a song in stereo at 48 kHz."""
    with soundfile.SoundFile(song) as file:
        file.seek(round(start_s * file.samplerate))
        count = -1 if seconds is None else round(seconds * file.samplerate)
        frames = file.read(count, dtype="float32", always_2d=True)
        return _resampled(_stereo(frames), file.samplerate)


def _stereo(frames: Frames) -> Frames:
    return np.repeat(frames, 2, axis=1) if frames.shape[1] == 1 else frames[:, :2]


def _resampled(samples: Frames, rate_hz: int) -> Frames:
    if rate_hz == RATE_HZ:
        return samples
    common = gcd(RATE_HZ, rate_hz)
    return np.asarray(resample_poly(samples, RATE_HZ // common, rate_hz // common, axis=0), np.float32)


if __name__ == "__main__":
    main()
