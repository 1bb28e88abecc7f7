"""Freely licensed recordings from Debian packages: songs, shows, rough mixes of both. Run on demand:

    python tests/benchmarks/recordings.py [--half tuning] [--half judging]

downloads what is missing (0.9 GB for both halves, Debian and its relatives only), measures it, and lists it.
Nothing is installed: packages are unpacked into the user's cache folder, where the measured 100 ms energies
stay too. Whole packages belong to one half: figures are chosen on the tuning half alone.
"""

from __future__ import annotations

import argparse
import subprocess
import tempfile
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Literal, get_args

import numpy as np
import soundfile
from numpy.typing import NDArray
from platformdirs import PlatformDirs

from sidecar.loudness.gating import Part, Powers, gated_loudness, gating_powers
from sidecar.meter import Meter

Half = Literal["tuning", "judging"]
Levels = NDArray[np.float64]
HALVES: tuple[Half, ...] = get_args(Half)

BLOCKS_PER_S = 10
CACHE = PlatformDirs("loudness-sidecar", appauthor=False).user_cache_path / "recordings"

MUSIC: dict[Half, tuple[str, ...]] = {
    "tuning": ("asc-music", "nexuiz-music", "planetblupi-music-ogg", "warzone2100-music", "drascula-music"),
    "judging": (
        "ufoai-music",
        "wesnoth-1.16-music",
        "singularity-music",
        "hyperrogue-music",
        "colobot-common-sounds",
    ),
}
SPEECH: dict[Half, tuple[str, ...]] = {
    "tuning": ("asterisk-core-sounds-fr-wav", "asterisk-core-sounds-en-wav"),
    "judging": ("asterisk-core-sounds-es-wav", "asterisk-core-sounds-it-wav", "asterisk-core-sounds-ru-wav"),
}

SHORTEST_SONG_S, LONGEST_SONG_S = 90.0, 900.0
SHOWS = 30
START_LU = 6.0
"""How far the whole of a rough mix lies from the goal at most (common practice, no source)."""
_DRIFT_DB, _DRIFT_TURN_S = 1.0, 45.0
"""How far a rough mix is off on its way, one standard deviation, and how slowly that turns."""

_SPEECH_PEAKS_LU = 15.0
"""How far the peaks of a speaker reach over the loudness behind a limiter. Ours."""

_SOUND_FILES = {".wav", ".flac", ".ogg", ".oga", ".opus", ".mp3"}
_MEASURED_AS = 1
"""Raised when what is kept of a measured file changes."""


@dataclass(frozen=True, slots=True)
class Programme:
    """One pass of programme in 100 ms blocks."""

    name: str
    energies: Levels
    """K-weighted mean squares, shape (n,)."""
    true_peaks_dbtp: Levels
    """Shape (n,)."""

    @property
    def seconds(self) -> float:
        return len(self.energies) / BLOCKS_PER_S

    @property
    def lufs(self) -> float:
        """Integrated loudness."""
        return integrated(self.energies)

    def raised(self, gains_db: Levels | float, name: str | None = None) -> Programme:
        """The same behind a fader: one gain for all blocks or one each, dB."""
        gains_db = np.asarray(gains_db)
        energies = self.energies * 10.0 ** (gains_db / 10.0)
        return Programme(name or self.name, energies, self.true_peaks_dbtp + gains_db)

    def part(self, start: int, stop: int) -> Programme:
        return Programme(self.name, self.energies[start:stop], self.true_peaks_dbtp[start:stop])


def integrated(energies: Levels) -> float:
    """LUFS of 100 ms energies."""
    return float(gated_loudness([Part(Powers(gating_powers(energies)))]))


def songs(half: Half) -> list[Programme]:
    """Every piece of music of a half between a minute and a half and a quarter of an hour, as mastered."""
    found = [_measured(file) for package in MUSIC[half] for file in sound_files(package)]
    return [song for song in found if SHORTEST_SONG_S <= song.seconds <= LONGEST_SONG_S]


def shows(half: Half, count: int = SHOWS) -> list[Programme]:
    """Shows of 8 to 20 minutes: speakers of a half, and music before, between and after them.

    Prompts follow each other with short pauses; music lies from 4 LU under to 2 LU over the speech, speakers
    within 2 LU of each other, their peaks behind a limiter (figures ours). Joined as energies: the
    weighting's few milliseconds of ringing across a joint are left out.
    """
    music = [song.raised(-song.lufs) for song in songs(half)]
    speakers = [speech(package) for package in SPEECH[half]]
    return [_show(f"{half} show {number}", speakers, music) for number in range(1, count + 1)]


def rough_mix(master: Programme, target_lufs: float) -> Programme:
    """As a rough mix comes in: its whole within 6 LU of the goal, and a hand that is off by slow turns.

    The random start is drawn by the name: a recording always gives the same mix.
    """
    rng = draw(master.name, "rough mix")
    turns = rng.normal(0.0, _DRIFT_DB, int(master.seconds / _DRIFT_TURN_S) + 3)
    at = np.arange(len(master.energies)) / (BLOCKS_PER_S * _DRIFT_TURN_S) + rng.uniform()
    ridden = master.raised(np.interp(at, np.arange(len(turns)), turns))
    return ridden.raised(target_lufs + rng.uniform(-START_LU, START_LU) - ridden.lufs)


def earlier_pass(mix: Programme) -> Levels:
    """The energies of a pass played before, each 100 ms some 0.8 dB apart, as in landing.py."""
    rng = draw(mix.name, "earlier pass")
    return mix.energies * 10.0 ** (rng.normal(0.0, 0.8, len(mix.energies)) / 10.0)


def draw(*names: str) -> np.random.Generator:
    """Random numbers that depend on *names* alone."""
    return np.random.default_rng([ord(letter) for letter in "/".join(names)])


def wav_files(half: Half, *, shortest_s: float = SHORTEST_SONG_S, rate_hz: int = 48_000) -> Iterator[Path]:
    """Yields real music as 16-bit WAV, decoded when asked for and kept; only that of one sample rate.

    rate_hz: music at another rate is left out, as nothing is resampled.
    """
    for package in MUSIC[half]:
        for file in sound_files(package):
            about = soundfile.info(file)
            if about.samplerate == rate_hz and about.duration >= shortest_s:
                yield decoded(file)


def decoded(file: Path) -> Path:
    """A recording as 16-bit WAV in the cache folder."""
    target = CACHE / "wav" / f"{_title(file).replace('/', ' ')}.wav"
    if not target.exists():
        frames, rate_hz = soundfile.read(file, dtype="int16", always_2d=True)
        _written(target, lambda part: soundfile.write(part, frames, rate_hz, "PCM_16", format="WAV"))
    return target


def sound_files(package: str) -> list[Path]:
    """The sound files of a package, which is downloaded and unpacked where it is not there yet."""
    files = unpacked(package).rglob("*")
    return sorted(f for f in files if f.suffix.lower() in _SOUND_FILES and f.is_file() and not f.is_symlink())


@cache
def unpacked(package: str) -> Path:
    """The folder of a package, archives inside it unpacked too."""
    folder = CACHE / "packages" / package
    if folder.is_dir():
        return folder
    folder.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=folder.parent) as work:
        try:
            _run(["apt-get", "download", package], work)
            (archive,) = Path(work).glob("*.deb")
            _run(["dpkg-deb", "-x", archive.name, "content"], work)
        except (OSError, subprocess.CalledProcessError) as error:
            said = getattr(error, "stderr", "") or error
            raise SystemExit(f"{package} cannot be fetched with apt-get download: {said}") from error
        for inner in Path(work, "content").rglob("*.pk3"):
            with zipfile.ZipFile(inner) as packed:
                packed.extractall(inner.parent)
            inner.unlink()
        Path(work, "content").rename(folder)
    return folder


def _run(command: list[str], folder: str) -> None:
    subprocess.run(command, cwd=folder, check=True, capture_output=True, text=True)


@cache
def _measured(file: Path) -> Programme:
    """The blocks of a recording, measured once and kept."""
    kept = CACHE / "measured" / f"{_title(file)}.{_MEASURED_AS}.npz"
    if not kept.exists():
        programme = _measure(file)
        _written(
            kept,
            lambda part: np.savez(part, energies=programme.energies, true_peaks=programme.true_peaks_dbtp),
        )
    with np.load(kept) as arrays:
        return Programme(_title(file), arrays["energies"], arrays["true_peaks"])


def _measure(file: Path) -> Programme:
    with soundfile.SoundFile(file) as source:
        meter = Meter(source.samplerate, channels=source.channels)
        for frames in source.blocks(source.samplerate * 10, dtype="float32", always_2d=True):
            meter.push(frames)
    blocks = meter.take_blocks()
    return Programme(_title(file), blocks.energy, blocks.true_peak)


def _title(file: Path) -> str:
    package, *folders = file.relative_to(CACHE / "packages").parts
    return f"{package}/{' '.join(folders[-2:])}"


def _written(target: Path, write: Callable[[Path], None]) -> None:
    """Whole or not at all: several programs may ask for one file at the same time."""
    target.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=target.parent) as work:
        part = Path(work, f"part{target.suffix}")
        write(part)
        part.replace(target)


@cache
def speech(package: str) -> list[Programme]:
    """The prompts of one speaker, brought to 0 LUFS together, as behind a limiter."""
    kept = CACHE / "measured" / f"{package}.{_MEASURED_AS}.npz"
    if not kept.exists():
        prompts = [_measure(file) for file in sound_files(package)]
        prompts = [prompt for prompt in prompts if len(prompt.energies) >= BLOCKS_PER_S]
        ends = np.cumsum([len(prompt.energies) for prompt in prompts])
        energies = np.concatenate([prompt.energies for prompt in prompts])
        peaks = np.concatenate([prompt.true_peaks_dbtp for prompt in prompts])
        _written(kept, lambda part: np.savez(part, energies=energies, true_peaks=peaks, ends=ends))
    with np.load(kept) as arrays:
        together = Programme(package, arrays["energies"], arrays["true_peaks"])
        ends = [0, *arrays["ends"]]
    level = together.raised(-together.lufs)
    level = Programme(package, level.energies, np.minimum(level.true_peaks_dbtp, _SPEECH_PEAKS_LU))
    return [level.part(start, stop) for start, stop in pairwise(ends)]


def _show(name: str, speakers: list[list[Programme]], music: list[Programme]) -> Programme:
    rng = draw(name)
    length = rng.uniform(8.0, 20.0) * 60 * BLOCKS_PER_S
    levels_lu = rng.uniform(-1.0, 1.0, len(speakers))
    parts = [_excerpt(rng, music, 10.0, 25.0)]
    while sum(len(part.energies) for part in parts) < length:
        for _ in range(int(rng.integers(1, 5))):
            speaker = int(rng.integers(len(speakers)))
            parts += _talk(rng, speakers[speaker], float(levels_lu[speaker]), rng.uniform(15.0, 90.0))
        parts.append(_excerpt(rng, music, 8.0, 120.0 if rng.uniform() < 0.3 else 15.0))
    return Programme(
        name,
        np.concatenate([part.energies for part in parts]),
        np.concatenate([part.true_peaks_dbtp for part in parts]),
    )


def _talk(
    rng: np.random.Generator, prompts: list[Programme], level_lu: float, seconds: float
) -> list[Programme]:
    parts: list[Programme] = []
    while sum(part.seconds for part in parts) < seconds:
        pause = int(rng.integers(1, 9))
        parts.append(prompts[int(rng.integers(len(prompts)))].raised(level_lu))
        parts.append(Programme("pause", np.full(pause, 1e-9), np.full(pause, -80.0)))
    return parts


def _excerpt(
    rng: np.random.Generator, music: list[Programme], shortest_s: float, longest_s: float
) -> Programme:
    song = music[int(rng.integers(len(music)))]
    blocks = min(round(rng.uniform(shortest_s, longest_s) * BLOCKS_PER_S), len(song.energies))
    start = int(rng.integers(len(song.energies) - blocks + 1))
    return song.part(start, start + blocks).raised(rng.uniform(-4.0, 2.0))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--half", choices=HALVES, action="append")
    for half in parser.parse_args().half or HALVES:
        for programme in (*songs(half), *shows(half)):
            mix = rough_mix(programme, -23.0)
            print(
                f"{half:8} {programme.seconds / 60:5.1f} min {programme.lufs:6.1f} LUFS, "
                f"rough {mix.lufs:6.1f}  {programme.name}"
            )


if __name__ == "__main__":
    main()
