"""An archive as a test needs it: small files of many kinds, some of them broken in every way there is."""

import os

import numpy as np
import soundfile

KINDS = (
    *(("wav", "PCM_16", 48_000, 2), ("wav", "PCM_24", 96_000, 2), ("wav", "FLOAT", 44_100, 1)),
    *(("wav", "PCM_16", 48_000, 6), ("aiff", "PCM_16", 44_100, 2), ("flac", "PCM_24", 48_000, 2)),
    *(("ogg", "VORBIS", 44_100, 2), ("mp3", "MPEG_LAYER_III", 48_000, 2), ("caf", "PCM_16", 32_000, 1)),
    *(("w64", "PCM_24", 48_000, 2), ("au", "PCM_16", 22_050, 1), ("rf64", "PCM_16", 48_000, 2)),
)
"""Suffix, encoding, rate in Hz, channels."""
LOUD = 10
"""One file in so many reads 6 LU more than the others, which read −23 LUFS (Tech 3341 §2.9: a tone in phase
on two channels reads its peak level)."""


def made_archive(folder, files, every=20):
    """Writes *files* files into two folders, one in *every* of them broken; returns the broken ones: what
    is to be reported of each path."""
    broken = {}
    for number in range(files):
        place = folder / f"{number % 2}" / f"{number:05}"
        place.parent.mkdir(parents=True, exist_ok=True)
        if number % every:
            good(place, number)
        else:
            path, said = BROKEN[number // every % len(BROKEN)](place, number // every)
            broken[str(path)] = said
    return broken


def good(place, number):
    suffix, encoding, rate_hz, channels = KINDS[number % len(KINDS)]
    path = place.with_suffix(f".{suffix}")
    level_db = -23.0 + (6.0 if number % LOUD == 1 else 0.0) + (3.01 if channels == 1 else 0.0)
    t = np.arange((1 + number % 3) * rate_hz) / rate_hz
    sound = np.zeros((len(t), channels))
    sound[:, :2] = 10 ** (level_db / 20) * np.sin(2 * np.pi * 1000 * t)[:, None]
    soundfile.write(path, sound, rate_hz, encoding)


def _bytes(place, content, suffix=".wav"):
    path = place.with_suffix(suffix)
    path.write_bytes(content)
    return path


def _wave(place, seconds=1.0, **how):
    path = place.with_suffix(".wav")
    sound = 0.05 * np.random.default_rng(1).standard_normal((round(48_000 * seconds), 2))
    soundfile.write(path, sound, 48_000, **how)
    return path.read_bytes()


def _empty(place, _number):
    return _bytes(place, b""), "is empty"


def _zeros(place, _number):
    return _bytes(place, bytes(4096)), "not audio"


def _cut_in_header(place, _number):
    return _bytes(place, _wave(place)[:20]), "not audio"


def _cut_in_audio(place, _number):
    return _bytes(place, _wave(place)[:100_000]), "is cut off"


def _text(place, _number):
    return _bytes(place, b"Notes on the mix of Thursday.\n" * 50), "not audio"


def _wrong_magic(place, _number):
    return _bytes(place, b"RIXX" + _wave(place)[4:]), "not audio"


def _dangling_link(place, _number):
    path = place.with_suffix(".wav")
    path.symlink_to("gone.wav")
    return path, "is a link to gone.wav, which does not exist"


def _pipe(place, _number):
    path = place.with_suffix(".wav")
    os.mkfifo(path)
    return path, "is a pipe or a device"


def _not_numbers(place, _number):
    path = place.with_suffix(".wav")
    soundfile.write(path, np.full((48_000, 2), np.nan), 48_000, "FLOAT")
    return path, "96,000 samples are no numbers"


def _absurd_header(place, number):
    """A rate of 2 GHz, or 60,000 channels, in turns."""
    content = bytearray(_wave(place))
    if number // len(BROKEN) % 2:
        content[22:24] = (60_000).to_bytes(2, "little")
        return _bytes(place, content), "Too many channels"
    content[24:28] = (2_000_000_000).to_bytes(4, "little")
    return _bytes(place, content), "2000000000 Hz cannot be measured"


def _corrupt_flac(place, _number):
    path = place.with_suffix(".flac")
    soundfile.write(path, 0.3 * np.random.default_rng(2).standard_normal((96_000, 2)), 48_000, "PCM_16")
    content = bytearray(path.read_bytes())
    content[len(content) // 2 : len(content) // 2 + 20_000] = bytes(20_000)
    return _bytes(place, content, ".flac"), "is damaged"


BROKEN = (
    *(_empty, _zeros, _cut_in_header, _cut_in_audio, _text, _wrong_magic, _dangling_link, _pipe),
    *(_not_numbers, _absurd_header, _corrupt_flac),
)
