"""Matched sets against the definitions applied to the whole files: gains before, landings after."""

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile
from whole_file import K_WEIGHTING_48_KHZ, WholeFile, true_peak

from sidecar.cli import main

RATE_HZ = 48_000
# Peaks that leave room for the gains, and one that does not.
PIECES = {
    "even.wav": (0.02, "PCM_24"),
    "loud.wav": (0.2, "PCM_16"),
    "wide.flac": (0.05, "PCM_24"),
    "peaky.wav": (0.01, "FLOAT"),
}


def programme(name, level):
    """Twelve seconds of noise with a history of its own; "peaky" has clicks close to full scale."""
    rng = np.random.default_rng(len(name))
    frames = rng.standard_normal((12 * RATE_HZ, 2)) * level
    if name.startswith("wide"):
        frames *= np.repeat([1.0, 0.2, 1.0, 0.02], 3 * RATE_HZ)[:, None]
    if name.startswith("peaky"):
        frames[::RATE_HZ] = 0.5
    return frames


@pytest.fixture
def pieces(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for name, (level, subtype) in PIECES.items():
        soundfile.write(name, programme(name, level), RATE_HZ, subtype=subtype)
    return list(PIECES)


def whole(name):
    frames, _ = soundfile.read(name, always_2d=True)
    return WholeFile(frames, RATE_HZ, (1.0, 1.0), K_WEIGHTING_48_KHZ)


def matched(capsys, *arguments):
    main(["match", "--json", *arguments])
    return {outcome["file"]: outcome for outcome in json.loads(capsys.readouterr().out)}


@pytest.mark.slow
def test_gains_are_those_of_the_definitions(capsys, pieces):
    """Target minus the loudness of BS.1770-5 Annex 1, or the room that Annex 2's true peak leaves."""
    outcomes = matched(capsys, *pieces)

    for name in pieces:
        frames = whole(name).frames
        wanted = -23.0 - whole(name).integrated
        room = -1.0 - max(true_peak(frames[:, channel], 8) for channel in (0, 1))
        expected = min(wanted, max(0.0, room))
        assert outcomes[name]["gain_db"] == pytest.approx(expected, abs=0.05), name
    assert [name for name in pieces if outcomes[name]["limited_by"] == "ceiling"] == ["peaky.wav"]


@pytest.mark.slow
def test_copies_land_on_the_target_by_the_definitions(capsys, pieces):
    """Within 0.05 LU in each format. The one that the ceiling holds under the goal has
    no copy."""
    outcomes = matched(capsys, "--write", "copies", *pieces)
    copies = [name for name in pieces if Path("copies", name).exists()]

    for name in copies:
        landed = whole(f"copies/{name}").integrated
        assert landed == pytest.approx(outcomes[name]["landing_lufs"], abs=0.05), name
        assert outcomes[name]["written_lufs"] == pytest.approx(landed, abs=0.02), name
        assert landed == pytest.approx(-23.0, abs=0.05), name
    assert copies == ["even.wav", "loud.wav", "wide.flac"]
    assert (outcomes["peaky.wav"]["written"], outcomes["peaky.wav"]["broken"]) == (None, ["quiet"])


@pytest.mark.slow
def test_a_sequence_keeps_its_balance_and_its_loudest_lands_on_the_target(capsys, pieces):
    """AES TD1008 (secondary): an album goes by its loudest track, here at −14 LUFS."""
    before = {name: whole(name).integrated for name in pieces}
    matched(capsys, "--goal", "aes-album", "--sequence", "--write", "copies", *pieces)
    after = {name: whole(f"copies/{name}").integrated for name in pieces}

    assert max(after.values()) == pytest.approx(-14.0, abs=0.05)
    shift = -14.0 - max(before.values())
    for name in pieces:
        assert after[name] == pytest.approx(before[name] + shift, abs=0.05), name


@pytest.mark.slow
def test_like_a_reference_lands_on_the_references_loudness(capsys, pieces):
    """A file is as good a target as a figure."""
    outcomes = matched(capsys, "--like", "even.wav", "--write", "copies", "loud.wav")

    expected = whole("even.wav").integrated
    assert outcomes["loud.wav"]["target_lufs"] == pytest.approx(expected, abs=0.01)
    assert whole("copies/loud.wav").integrated == pytest.approx(expected, abs=0.05)


@pytest.mark.slow
def test_a_copy_lands_although_its_gain_carries_much_of_it_across_the_gate(capsys, tmp_path, monkeypatch):
    """BS.1770-5 Annex 1: under −70 LUFS nothing counts, and less that counts lifts the relative gate. Here
    target minus loudness would miss by several LU; the copy lands within 0.05 LU all the same."""
    monkeypatch.chdir(tmp_path)

    def tone(*stretches):
        """997 Hz in phase on two channels: a peak of L dBFS reads L LUFS."""
        level = np.concatenate([np.full(s * RATE_HZ, 10 ** (db / 20)) for s, db in stretches])
        wave = level * np.sin(2 * np.pi * 997 / RATE_HZ * np.arange(len(level)))
        return np.stack([wave, wave], axis=1)

    soundfile.write("mix.wav", tone((1, -20.0), (10, -42.0), (60, -69.0)), RATE_HZ, subtype="FLOAT")
    soundfile.write("like.wav", tone((5, -32.5)), RATE_HZ, subtype="FLOAT")
    outcome = matched(capsys, "--like", "like.wav", "--write", "copies", "mix.wav")["mix.wav"]

    assert abs(outcome["gain_db"] - (-32.5 - whole("mix.wav").integrated)) > 3.0
    assert whole("copies/mix.wav").integrated == pytest.approx(-32.5, abs=0.05)
