"""Dialogue loudness in a run: from its stem, and where a person marks it."""

import argparse
import math

import numpy as np
import pytest
import soundfile

from sidecar.cli.run.stems import detects_dialogue, mix_of
from sidecar.delivery.measure.whole_file import measure
from sidecar.errors import SettingsError
from sidecar.journal import reader
from sidecar.journal.resume import Resumable
from sidecar.journal.writer import Journal
from sidecar.loudness.statistics import measured
from sidecar.model.commands import Continue, MarkDialogue, Pause, Reset
from sidecar.model.snapshot import Event
from sidecar.run.dialogue import RunDialogue, marked_blocks
from sidecar.run.options import RunOptions
from sidecar.run.review import Review, past_of_record
from sidecar.run.session import Session
from sidecar.run.stem_faders import Mix
from sidecar.settings.goals import load_goal
from sidecar.sources import Block
from sidecar.sources.file import FileSource

RATE_HZ = 48_000
NAMES = ("voice", "music", "effects")


def phrases(seconds, level_db, seed):
    """Noise in phrases with pauses of digital silence, stereo."""
    rng = np.random.default_rng(seed)
    loud = np.repeat(rng.choice([0.0, 0.3, 1.0], seconds * 4), RATE_HZ // 4)
    noise = rng.normal(size=(seconds * RATE_HZ, 2)) * loud[:, None]
    return (10.0 ** (level_db / 20.0) * noise).astype(np.float32)


def run(source, mix=None, *, session_of=Session):
    session = session_of(source, RunOptions(load_goal("r128-s4"), mix=mix, fast=True))
    session.run()
    return session.snapshot()


def test_a_stem_reads_as_its_own_file_does(tmp_path):
    """R 128 s4 in Tech 3343 §9.4: LDR is programme less dialogue loudness."""
    stems = [phrases(20, level_db, seed) for seed, level_db in enumerate((-26.0, -34.0, -40.0))]
    soundfile.write(tmp_path / "stems.wav", np.concatenate(stems, axis=1), RATE_HZ, "FLOAT")
    soundfile.write(tmp_path / "voice.wav", stems[0], RATE_HZ, "FLOAT")
    soundfile.write(tmp_path / "mix.wav", sum(stems), RATE_HZ, "FLOAT")
    source = FileSource(str(tmp_path / "stems.wav"), pace="fast")

    dialogue = run(source, Mix(NAMES, dialogue="voice")).dialogue

    voice, mix = (measure(tmp_path / name, workers=1).reading for name in ("voice.wav", "mix.wav"))
    assert dialogue.dialogue_lufs == pytest.approx(voice.integrated, abs=0.001)
    assert dialogue.ldr_lu == pytest.approx(mix.integrated - voice.integrated, abs=0.001)
    assert (dialogue.found_by, dialogue.stem, dialogue.confidence) == ("stem", "voice", 1.0)


class Tone:
    """1 kHz in both channels at a level for so many seconds; a callable is called at its place.

    Tech 3341 §2.9: it reads its peak level in LUFS.
    """

    title, rate_hz, channels, duration_s = "tone", RATE_HZ, 2, None

    def __init__(self, *steps):
        self.steps = steps

    def blocks(self):
        wave = np.sin(2.0 * np.pi * np.arange(RATE_HZ // 10) / 48.0)
        for step in self.steps:
            if callable(step):
                step()
                continue
            seconds, level_db = step
            for _ in range(round(seconds * 10)):
                tone = 10.0 ** (level_db / 20.0) * wave
                yield Block(np.stack([tone, tone], axis=1).astype(np.float32))

    def close(self):
        pass


def marked_run(*steps):
    """A step that is a command is sent at its place."""
    source = Tone(*(step if isinstance(step, tuple) else lambda c=step: sent(c) for step in steps))
    session = Session(source, RunOptions(load_goal("r128"), fast=True))
    refusals = []

    def sent(command):
        refusals.append(session.submit(command))

    session.run()
    return session, [refusal.result() for refusal in refusals]


def test_marked_stretches_are_measured_and_are_events():
    session, _ = marked_run((10, -20.0), MarkDialogue(True), (10, -26.0), MarkDialogue(False), (10, -20.0))
    found = session.snapshot().dialogue

    # at each edge one or two gating blocks reach into the 6 LU more beside the stretch
    assert found.dialogue_lufs == pytest.approx(-26.0, abs=0.25)
    assert (found.found_by, found.speech_s, found.seconds) == ("markers", 10.0, 30.0)
    assert [(event.seconds, event.text) for event in session.events() if event.kind == "dialogue"] == [
        (10.0, "begins"),
        (20.0, "ends"),
    ]
    assert np.flatnonzero(session.timeline().dialogue).tolist() == list(range(100, 200))


def test_marking_twice_is_one_marker_and_a_reset_ends_it():
    session, refusals = marked_run(
        MarkDialogue(True),
        (1, -20.0),
        MarkDialogue(True),
        (6, -20.0),
        Reset(),
        (6, -26.0),
    )

    assert refusals == [""] * 3
    assert session.snapshot().dialogue is None
    assert not session.snapshot().is_dialogue_marked


def test_without_a_marker_and_without_a_stem_there_is_no_figure():
    assert run(Tone((6, -20.0))).dialogue is None


def test_a_stem_that_is_the_dialogue_takes_no_markers():
    dialogue = RunDialogue(Mix(NAMES, dialogue="music"))

    with pytest.raises(SettingsError, match="measured on the stem music"):
        dialogue.check_can_be_marked()


def test_markers_of_a_record_give_the_blocks_that_they_gave_live():
    def event(seconds, text, kind="dialogue"):
        return Event(seconds, kind, text)

    events = (
        event(0.2, "begins"),
        event(0.3, "begins", "marker"),
        event(0.4, "begins"),
        event(0.6, "ends"),
        event(0.7, "ends"),
        event(0.9, "begins"),
    )

    flags, is_open = marked_blocks(events, 11)

    assert np.flatnonzero(flags).tolist() == [2, 3, 4, 5, 9, 10]
    assert is_open


class LoudModel:
    """Takes loud chunks for speech."""

    def probability(self, chunk):
        return 0.9 if float(np.abs(chunk).max()) > 0.2 else 0.1

    def reset(self):
        pass


PROGRAMME = ((6.03, -30.0), (8.0, -8.0), (6.0, -30.0), (4.0, -10.0), (1.0, -30.0))


def detected(*steps, **more):
    session = Session(Tone(*steps), RunOptions(load_goal("r128"), speech=LoudModel(), fast=True, **more))
    session.run()
    return session


def test_speech_in_the_mix_is_measured_where_it_is_found():
    session = detected(*PROGRAMME)
    found, flags = session.snapshot().dialogue, session.timeline().dialogue

    # -8 LUFS for 8 s and -10 LUFS for 4 s, with softer edges
    expected = 10.0 * math.log10((8.0 * 10**-0.8 + 4.0 * 10**-1.0) / 12.0)
    assert found.dialogue_lufs == pytest.approx(expected, abs=0.25)
    assert found.found_by == "detector"
    assert found.speech_s == pytest.approx(12.0, abs=0.5)
    assert found.seconds == pytest.approx(25.0, abs=0.1)
    assert found.confidence == pytest.approx(0.9, abs=0.05)
    assert flags[65:135].all()
    assert flags[205:235].all()
    assert np.count_nonzero(flags) == round(10.0 * found.speech_s)


def test_every_block_is_searched_through_a_pause_a_loss_and_a_rate():
    class Eventful(Tone):
        def blocks(self):
            blocks = super().blocks()
            for place, block in enumerate(blocks):
                if place == 60:
                    session.submit(Pause())
                if place == 80:
                    session.submit(Continue())
                if place == 150:
                    self.rate_hz = 44_100
                frames = block.frames[: 4000 if place == 120 else round(0.1 * self.rate_hz)]
                yield Block(frames, lost=777 * (place == 121))

    session = Session(Eventful((20.0, -8.0)), RunOptions(load_goal("r128"), speech=LoudModel(), fast=True))
    session.run()
    found, reading = session.snapshot().dialogue, session.snapshot().reading

    assert found.seconds == pytest.approx(len(session.timeline().seconds) / 10.0, abs=1e-6)
    assert len(session.timeline().dialogue) == len(session.timeline().seconds)
    assert found.speech_s == pytest.approx(found.seconds, abs=0.5)
    assert found.ldr_lu == pytest.approx(0.0, abs=0.1)
    assert reading.seconds == pytest.approx(18.0, abs=0.2)


def test_what_was_found_is_on_record_and_a_resumed_pass_goes_on_with_it(tmp_path):
    file = tmp_path / "passes.sqlite"
    journal = Journal(file, period_s=0.02)
    first = detected(*PROGRAMME, journal=journal)
    journal.close()
    kept = reader.to_resume(file)
    journal = Journal(file, period_s=0.02)
    second = detected((0.1, -30.0), journal=journal, resumed=kept)
    journal.close()

    before, after = first.snapshot().dialogue, second.snapshot().dialogue
    assert kept.summary.dialogue == before
    review = Review(past_of_record(kept), load_goal("r128-s4"))
    assert review.snapshot().dialogue == before
    assert np.array_equal(review.timeline().dialogue[:240], first.timeline().dialogue[:240])
    assert np.array_equal(second.timeline().dialogue[:240], first.timeline().dialogue[:240])
    # the flags of the last blocks come when the pass ends, too late for the record
    assert after.speech_s == pytest.approx(before.speech_s, abs=0.01)
    assert after.dialogue_lufs == pytest.approx(before.dialogue_lufs, abs=1e-6)
    assert reader.load(1, file).summary.dialogue == after


def test_blocks_that_were_not_searched_are_left_out_of_a_resumed_pass():
    energies = 10.0 ** (np.random.default_rng(6).uniform(-3.5, -2.5, 300))
    speech = np.array([0] * 50 + [1] * 50 + [230] * 100, np.uint8)
    before = resumable(energies, (), (30,))
    before.speech = speech
    dialogue = RunDialogue(model=LoudModel())

    dialogue.restore(before)
    found = dialogue.reading(-23.0)

    assert (found.seconds, found.speech_s) == (15.0, 10.0)
    assert np.flatnonzero(dialogue.flags()).tolist() == list(range(100, 200))
    assert found.confidence == pytest.approx(230 / 255)
    # one step of the two before the speech counts with it
    assert found.dialogue_lufs == pytest.approx(measured(energies[98:200]).integrated, abs=1e-9)


def resumable(energies, events, cuts):
    history = argparse.Namespace(events=events)
    return argparse.Namespace(
        energies=energies, stems=None, cuts=cuts, history=history, speech=np.empty(0, np.uint8)
    )


def test_an_interrupted_pass_goes_on_from_its_markers():
    energies = 10.0 ** (np.random.default_rng(5).uniform(-3.5, -2.5, 200))
    before: Resumable = resumable(energies, (Event(2.0, "dialogue", "begins"),), (120,))
    dialogue = RunDialogue()

    dialogue.restore(before)

    assert dialogue.is_marked
    assert np.flatnonzero(dialogue.flags()).tolist() == list(range(20, 200))
    flagged = dialogue.reading(-23.0)
    assert flagged.speech_s == pytest.approx(18.0)
    # two steps of four in the stretch are enough, so it begins one gating block earlier
    assert flagged.dialogue_lufs == pytest.approx(measured(energies[18:], (102,)).integrated, abs=1e-9)


def options(**given):
    unset = dict.fromkeys(("stems", "anchor", "keep", "under", "dialogue", "ldr"))
    return argparse.Namespace(**(unset | given))


STEMS = "voice,music,effects"


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"dialogue": "voice"}, "names a stem: also give live --stems"),
        ({"dialogue": "lead", "stems": STEMS}, "There is no stem lead"),
        ({"dialogue": "detect", "stems": "detect,music"}, "a stem has that name"),
        ({"ldr": 5.0, "stems": STEMS}, "name its stem with --dialogue"),
        ({"ldr": 5.0, "dialogue": "detect"}, "name its stem with --dialogue"),
        ({"ldr": 5.0, "dialogue": "voice", "stems": STEMS, "under": 6.0}, "give one of them"),
        ({"ldr": 5.0, "dialogue": "voice", "stems": STEMS, "anchor": "music"}, "leave --anchor out"),
        ({"ldr": 50.0, "dialogue": "voice", "stems": STEMS}, "--ldr: give -20 to 40 LU, not 50"),
        ({"ldr": math.nan, "dialogue": "voice", "stems": STEMS}, "--ldr: give -20 to 40 LU, not nan"),
    ],
)
def test_options_that_contradict_each_other_are_refused_with_the_reason(given, words):
    with pytest.raises(SettingsError, match=words):
        mix_of(options(**given))


def test_a_stem_and_detection_are_told_apart_by_the_word():
    by_stem = mix_of(options(dialogue="voice", ldr=5.0, stems=STEMS))

    assert (by_stem.dialogue, by_stem.anchor, by_stem.ldr_lu) == ("voice", "voice", 5.0)
    assert not detects_dialogue(options(dialogue="voice"))
    assert detects_dialogue(options(dialogue="detect"))
    assert mix_of(options(dialogue="detect", stems=STEMS)).dialogue is None
