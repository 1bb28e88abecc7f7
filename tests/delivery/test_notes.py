"""Notes on files, on real files made with each defect."""

import numpy as np
import pytest
import soundfile

from sidecar.delivery.judge.checking import check_file
from sidecar.delivery.measure.whole_file import measure
from sidecar.settings.goals import load_goal
from sidecar.wave.bext import Claimed
from sidecar.wave.bext_write import prepare, stamp

RATE_HZ = 48_000
GOAL = load_goal("r128")


@pytest.fixture
def noted(tmp_path):
    """Writes frames and gives the notes about them, by what they are about."""

    def write(frames, name="mix.wav", subtype="PCM_24"):
        soundfile.write(tmp_path / name, frames, RATE_HZ, subtype=subtype)
        return notes_of(tmp_path / name)

    return write


def notes_of(path):
    (verdict,) = check_file(str(path), None, [GOAL]).verdicts
    return {f.about: f for f in verdict.findings if f.kind == "note"}


def noise(seconds=6.0, channels=2, level=0.05):
    return level * np.random.default_rng(7).standard_normal((round(seconds * RATE_HZ), channels))


def test_a_sound_file_is_suspected_of_nothing(noted):
    """Two independent channels without gaps."""
    assert noted(noise()) == {}


def test_a_note_fails_nothing(tmp_path):
    """A file on the target passes with mono on two channels, which is what many programmes are."""
    t = np.arange(10 * RATE_HZ) / RATE_HZ
    tone = 10 ** (-23 / 20) * np.sin(2 * np.pi * 1000 * t)  # Tech 3341 §2.9: reads −23.0 LUFS
    soundfile.write(tmp_path / "mono.wav", np.stack([tone, tone], axis=1), RATE_HZ)
    (verdict,) = check_file(str(tmp_path / "mono.wav"), None, [GOAL]).verdicts

    assert (verdict.passes, [f.about for f in verdict.findings]) == (True, ["dual mono"])


def test_mono_on_two_channels(noted):
    """The same samples twice are distinguished from the same material with the least difference."""
    left = noise(channels=1)
    almost = left.copy()
    almost[1000] += 0.001

    assert "dual mono" in noted(np.hstack([left, left]))
    assert "dual mono" not in noted(np.hstack([left, almost]))


def test_a_channel_that_is_turned_round(noted):
    """Correlation −1; two independent channels have none."""
    left = noise(channels=1)

    assert "correlation −1.00" in noted(np.hstack([left, -left]))["inverted channel"].sentence


def test_a_dead_channel(noted):
    """Named by its place; a file that is silent throughout has no dead channel."""
    frames = noise()
    frames[:, 1] = 0.0

    assert noted(frames)["dead channel"].sentence == "Channel R is digital silence only."
    assert "dead channel" not in noted(np.zeros((RATE_HZ * 6, 2)))


def test_a_dc_offset(noted):
    """1 % of full scale is −40 dBFS."""
    frames = noise()

    assert "L −40.0 dBFS, R −40.0 dBFS" in noted(frames - frames.mean(axis=0) + 0.01)["dc offset"].sentence


def test_digital_silence_inside_is_told_from_that_at_the_ends(noted):
    """2 s at the start, 1.5 s inside from 4 s on, nothing at the end; each has its place."""
    frames = noise(8.0)
    frames[: 2 * RATE_HZ] = 0.0
    whole = frames.copy()
    frames[4 * RATE_HZ : int(5.5 * RATE_HZ)] = 0.0
    inside = noted(frames)["silence"]

    assert noted(whole)["silence"].sentence == "It starts with 2.0 s of digital silence."
    assert "inside the programme in 1 place, the longest 1.5 s" in inside.sentence
    assert inside.places == "At 0:00:04.0 to 0:00:05.5."


@pytest.mark.parametrize("length_s", [0.0011, 0.012, 0.5])
def test_a_channel_that_drops_out(noted, length_s):
    """Exact zeros in one channel, sound right before and after; its place and length."""
    frames = noise()
    frames[2 * RATE_HZ : round((2 + length_s) * RATE_HZ), 1] = 0.0
    found = noted(frames)["dropout"]

    assert found.sentence.startswith(f"Channel R drops out in 1 place of {round(length_s * 1000)} ms: ")
    assert (2.0, 2.0 + length_s) == pytest.approx((found.spans[0].start_s, found.spans[0].end_s), abs=1e-4)
    assert f"0:00:02.0 ({round(length_s * 1000)} ms)" in found.places


def test_all_channels_that_drop_out_together(noted):
    """Gaps of 0.4 and 0.05 s: shorter than a note on silence needs; the longest is first."""
    frames = noise()
    for start_s, length_s in ((1.0, 0.05), (4.0, 0.4)):
        frames[round(start_s * RATE_HZ) : round((start_s + length_s) * RATE_HZ)] = 0.0
    found = noted(frames)["dropout"]

    assert "Every channel drops out in 2 places of up to 400 ms" in found.sentence
    assert found.places == "At 0:00:04.0 (400 ms); 0:00:01.0 (50 ms)."


def test_channels_of_a_surround_programme_have_their_names(noted):
    """5.1: C drops out alone, both surrounds are dead."""
    frames = noise(channels=6)
    frames[RATE_HZ : RATE_HZ + 480, 2] = 0.0
    frames[:, 4:] = 0.0
    found = noted(frames)

    assert found["dropout"].sentence.startswith("Channel C drops out in 1 place of 10 ms")
    assert found["dead channel"].sentence == "Each of channels Ls and Rs is digital silence only."


@pytest.mark.parametrize("fade_s", [0.005, 0.02, 0.2])
def test_words_between_silences_are_no_dropouts(noted, fade_s):
    """Sound faded out to exact zero and in again, linearly, as edits and gates do."""
    frames, ramp = noise(), np.linspace(1.0, 0.0, round(fade_s * RATE_HZ))[:, None]
    for start in (RATE_HZ, 3 * RATE_HZ, 4 * RATE_HZ):
        stop = start + RATE_HZ // 4
        frames[start - len(ramp) : start] *= ramp
        frames[start:stop] = 0.0
        frames[stop : stop + len(ramp)] *= ramp[::-1]

    assert noted(frames) == {}


def test_sound_that_dies_away_before_a_cut_is_no_dropout(noted):
    """A note that has fallen by 40 dB is cut to silence, and the next one begins at once."""
    frames = noise()
    frames[RATE_HZ : 2 * RATE_HZ] *= 10 ** (np.linspace(0, -60, RATE_HZ) / 20)[:, None]
    frames[2 * RATE_HZ : 2 * RATE_HZ + 4800] = 0.0

    assert noted(frames) == {}


def test_a_fade_to_silence_is_no_dropout(noted):
    """Neither is a long silence, which has its own note, nor the start or the end of a channel."""
    fade = 10 ** (np.linspace(0, -90, RATE_HZ) / 20)[:, None]
    frames = noise(8.0)
    frames[RATE_HZ : 2 * RATE_HZ] *= fade
    frames[2 * RATE_HZ : int(2.6 * RATE_HZ)] = 0.0
    frames[4 * RATE_HZ : 6 * RATE_HZ] = 0.0
    frames[: RATE_HZ // 2, 0] = frames[-RATE_HZ // 2 :, 1] = 0.0

    assert set(noted(frames)) == {"silence"}


def test_clipping(noted):
    """Three samples in a row at full scale (common practice, no source), and where the first is."""
    frames = noise()
    frames[3 * RATE_HZ : 3 * RATE_HZ + 3, 0] = 1.0
    frames[4 * RATE_HZ : 4 * RATE_HZ + 2, 0] = 1.0

    assert "Clipped in 1 place, first at 0:00:03.0" in noted(frames)["clipping"].sentence


def test_places_of_clipping(noted):
    """Runs within a second of each other are one place; of many runs the first 20 have places."""
    frames = noise()
    for k in (*range(15), *range(25, 50)):
        frames[4800 * (k + 1) : 4800 * (k + 1) + 3, 0] = 1.0  # every 0.1 s
    found = noted(frames)["clipping"]

    assert "Clipped in 40 places, first at 0:00:00.1" in found.sentence
    assert found.sentence.endswith(" The first 20 of them:")
    assert [(pytest.approx(span.start_s), pytest.approx(span.end_s), span.worst) for span in found.spans] == [
        (0.1, 1.5, 15),
        (2.6, 3.0, 5),
    ]


def test_a_lossy_encoding(noted):
    """Tech 3343 §11.2.3: decoders and further encodings may peak higher."""
    assert "lossy" in noted(noise(), "mix.ogg", "VORBIS")["encoding"].sentence


def test_what_a_file_claims_of_itself_must_be_true(noted, tmp_path):
    """A broadcast wave file stamped with its loudness gets no note; with 0.5 LU more it does."""
    noted(noise())
    path = tmp_path / "mix.wav"
    reading = check_file(str(path), None, [GOAL]).measured.reading
    true = Claimed.from_reading(reading)
    stamp(path, true, prepare(path))
    assert "claims" not in notes_of(path)

    stamp(path, Claimed(integrated=round(true.integrated + 0.5, 2)), prepare(path))
    claim = notes_of(path)["claims"].sentence

    assert "The loudness fields of the file are wrong: integrated" in claim
    assert "range" not in claim


@pytest.mark.parametrize("value", [b"\x2a", b"\xd3"])
@pytest.mark.parametrize(("subtype", "byte_depth"), [("PCM_16", 2), ("PCM_24", 3)])
def test_a_thousand_bytes_of_one_value_are_noted(tmp_path, value, subtype, byte_depth):
    """As a bad sector leaves them, in the middle of a file."""
    path = tmp_path / "mix.wav"
    soundfile.write(path, noise(), RATE_HZ, subtype=subtype)
    content = bytearray(path.read_bytes())
    at = 44 + 3 * RATE_HZ * 2 * byte_depth
    content[at : at + 1000] = 1000 * value
    path.write_bytes(content)
    note = notes_of(path)["held samples"]

    frames = 1000 // (2 * byte_depth)
    assert f"for {round(1000 * frames / RATE_HZ)} ms in 1 place" in note.sentence
    assert note.spans[0].start_s == pytest.approx(3.0, abs=1 / RATE_HZ)


@pytest.mark.parametrize("start", [65_536 - 20, 2 * 65_536 - 1, 5 * RATE_HZ - 40, 5 * RATE_HZ - 1, 0])
@pytest.mark.parametrize("workers", [1, 3])
def test_held_samples_are_found_wherever_a_file_is_cut_for_measuring(tmp_path, start, workers):
    """Blocks of 65,536 frames, and stretches of 5 s that are measured side by side."""
    frames = noise(31.0)
    frames[start : start + 60] = (0.1, 0.2)
    soundfile.write(tmp_path / "mix.wav", frames, RATE_HZ, subtype="PCM_24")
    (held,) = measure(tmp_path / "mix.wav", workers=workers).facts.held

    assert held.start_s == pytest.approx(start / RATE_HZ, abs=1.01 / RATE_HZ)
    assert held.length_s == pytest.approx(60 / RATE_HZ, abs=1.01 / RATE_HZ)


@pytest.mark.parametrize("what", ["square", "quiet", "short", "one channel", "clipped", "turned down"])
def test_what_stands_still_by_its_nature_is_not_held(noted, what):
    frames = noise()
    place = slice(3 * RATE_HZ, 3 * RATE_HZ + 200)
    if what == "square":
        wave = 0.3 * np.sign(np.sin(2 * np.pi * 50 * np.arange(len(frames)) / RATE_HZ) + 1e-9)
        frames = np.stack([wave, wave], axis=1)
    elif what == "quiet":
        frames[place] = 0.001
    elif what == "turned down":  # clipped to flat tops of some milliseconds, then 1 dB less
        bass = 4.0 * np.sin(2 * np.pi * 40 * np.arange(place.start, place.start + 4800) / RATE_HZ)
        frames[place.start : place.start + 4800] = 0.89 * np.clip(bass, -1.0, 1.0)[:, None]
    elif what == "short":
        frames[3 * RATE_HZ : 3 * RATE_HZ + 40] = 0.1
    elif what == "one channel":
        frames[place, 0] = 0.1
    else:
        frames[place] = 1.0

    assert "held samples" not in noted(frames)
