"""Dialogue of files, with a model that takes loud sound for speech; tests/speech has the real one."""

import numpy as np
import pytest
import soundfile
from made import made

from sidecar.delivery.batch.packing import pack, unpack
from sidecar.delivery.judge.dialogue_note import dialogue_note
from sidecar.delivery.measure.dialogue import FileDialogue, IdleModels, detected_dialogue, marked_dialogue
from sidecar.delivery.measure.part import Part, Scope
from sidecar.delivery.measure.whole_file import measure
from sidecar.model.dialogue import DialogueLoudness
from sidecar.settings.goals import load_goal

RATE_HZ = 11_025  # no multiple of ten: blocks differ by a frame


class Loud:
    def probability(self, chunk):
        return float(np.sqrt(np.mean(chunk**2)) > 0.1)

    def reset(self):
        pass


@pytest.fixture(scope="module")
def film(tmp_path_factory):
    """Five minutes: 3 s loud, 5 s at −40 dB, by turns."""
    path = tmp_path_factory.mktemp("film") / "film.wav"
    at_s = np.arange(300 * RATE_HZ) / RATE_HZ
    level = np.where(at_s % 8.0 < 3.0, 0.5, 0.005)
    soundfile.write(path, level * np.sin(2 * np.pi * 300 * at_s), RATE_HZ, "PCM_16")
    return measure(path)


def test_speech_is_found_where_it_is_and_measured_there(film):
    found = detected_dialogue(film, workers=1, models=IdleModels(Loud))

    # a block is added before and behind
    assert found.loudness.speech_share == pytest.approx(3.2 / 8.0, abs=0.02)
    assert found.loudness.dialogue_lufs == pytest.approx(film.reading.integrated, abs=0.2)
    assert len(found.spans) == 38
    for turn, (start_s, end_s) in enumerate(found.spans_s):
        assert start_s == pytest.approx(8.0 * turn, abs=0.2)
        assert end_s == pytest.approx(8.0 * turn + 3.0, abs=0.2)


def test_threads_change_nothing(film):
    models = IdleModels(Loud)

    assert detected_dialogue(film, workers=3, models=models) == detected_dialogue(
        film, workers=1, models=models
    )


def test_a_part_is_searched_as_a_file_of_its_own(film):
    part = Part("middle", 130 * RATE_HZ, 146 * RATE_HZ)
    measured = measure(film.file, scope=Scope(part))

    found = detected_dialogue(measured, part, workers=1, models=IdleModels(Loud))

    # loud from 128 to 131, 136 to 139 and 144 to 147 s
    assert [round(start_s) for start_s, _ in found.spans_s] == [0, 6, 14]
    assert found.loudness.seconds == pytest.approx(16.0, abs=0.11)


def test_progress_reaches_the_end_and_can_end_the_search(film):
    shares = []
    detected_dialogue(film, progress=shares.append, workers=1, models=IdleModels(Loud))

    assert shares == sorted(shares)
    assert shares[-1] == 1.0

    def stop(share):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        detected_dialogue(film, progress=stop, workers=2, models=IdleModels(Loud))


def test_models_are_used_again():
    loaded = []

    def load():
        loaded.append(Loud())
        return loaded[-1]

    models = IdleModels(load)
    for _ in range(3):
        with models.borrowed() as one, models.borrowed() as other:
            assert one is not other

    assert len(loaded) == 2


def test_cue_markers_name_the_dialogue(film):
    parts = [
        Part("before scene 1", 0, 8 * RATE_HZ),
        Part("Dialogue 1", 8 * RATE_HZ, 11 * RATE_HZ),
        Part("music", 11 * RATE_HZ, 16 * RATE_HZ),
        Part("dialogue two", 16 * RATE_HZ, 19 * RATE_HZ),
    ]

    found = marked_dialogue(film, parts)

    assert found.spans == ((80, 110), (160, 190))
    assert found.loudness.found_by == "markers"
    assert found.loudness.dialogue_lufs == pytest.approx(film.reading.integrated, abs=0.2)
    assert marked_dialogue(film, parts[:1]) is None


def test_dialogue_comes_back_from_an_archive():
    dialogue = FileDialogue(
        DialogueLoudness("detector", -25.3, -23.0, 61.2, 120.0, 0.931), ((3, 20), (40, 700))
    )

    *_, kept = unpack("mix.wav", *pack(made(), (), [dialogue]))

    assert kept == [dialogue]


@pytest.mark.parametrize(
    ("dialogue", "sentence"),
    [
        (
            DialogueLoudness("detector", -25.3, -23.2, 61.2, 120.0, 0.934),
            "Dialogue −25.3 LUFS, LDR 2.1 LU. Automatic detection found speech in 51 % of the time, "
            "confidence 93 %.",
        ),
        (
            DialogueLoudness("detector", -25.3, -25.2, 61.2, 120.0, 0.84),
            "Dialogue −25.3 LUFS, LDR 0.1 LU. Automatic detection found speech in 51 % of the time, "
            "confidence 84 %. That is low: it may be singing or an instrument.",
        ),
        (
            DialogueLoudness("markers", -22.0, -15.0, 61.2, 120.0),
            "Dialogue −22.0 LUFS, LDR 7.0 LU. Its cue markers name 61.2 s of dialogue. For guidance: the "
            "dialogue is 1.0 LU over −23.0 LUFS (EBU R 128 s4). For guidance: LDR is 2.0 LU over 5.0 LU "
            "(EBU R 128 s4).",
        ),
        (
            DialogueLoudness("detector", speech_s=3.2, seconds=120.0, programme_lufs=-23.0),
            "No dialogue loudness. Automatic detection found 3.2 s of speech; 5 s are needed.",
        ),
    ],
)
def test_a_note_says_how_the_dialogue_was_found_and_what_the_goal_wants(dialogue, sentence):
    note = dialogue_note(dialogue, load_goal("r128-s4"))

    assert note.sentence == sentence
    assert note.kind == "note"
