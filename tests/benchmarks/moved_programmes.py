"""Invented programmes, channel by channel at beat and syllable detail, with and without fader moves.

Drawn openly from the figures below (common practice, no source). Nothing here knows the detector.
"""

import numpy as np

BLOCKS_PER_S = 10


def band(rng, seconds, stems=6):
    """A song: patterns of sixteenths per stem, sections of 8 to 16 bars that bring stems in and out."""
    blocks = seconds * BLOCKS_PER_S
    sixteenth = 60.0 / rng.uniform(85, 150) * BLOCKS_PER_S / 4.0
    compression = rng.uniform(0.3, 1.0)
    energies = np.full((blocks, stems), 1e-7)
    pattern = (rng.random((stems, 2, 16)) < 0.5) * 10.0 ** (rng.normal(0, 3, (stems, 2, 16)) / 10.0)
    decay = np.exp(-1.0 / (rng.uniform(0.05, 1.5, stems) * BLOCKS_PER_S))
    home = rng.normal(-26.0, 4.0, stems)
    section_end, level, variant = 0, home, np.zeros(stems, dtype=int)
    state = np.zeros(stems)
    step = 0
    for block in range(blocks):
        while step * sixteenth < block + 1:
            if step >= section_end:
                section_end = step + 16 * int(rng.choice([8, 16]))
                here = rng.random(stems) < 0.75
                here[rng.integers(stems)] = True
                level = np.where(here, home + rng.normal(0.0, 2.0, stems), -70.0)
                variant = rng.integers(0, 2, stems)
            hit = pattern[np.arange(stems), variant, step % 16] * 10.0 ** (rng.normal(0, 0.7, stems) / 10.0)
            state = np.maximum(state, hit**compression * 10.0 ** (level / 10.0))
            step += 1
        energies[block] += state
        state = state * decay
    return energies


def talk(rng, seconds):
    """Two people and an ambience: phrases with syllables, pauses, turns of 5 to 40 s."""
    blocks = seconds * BLOCKS_PER_S
    level = np.full((blocks, 3), -75.0)
    level[:, 2] = -48.0 + rng.normal(0, 1.0, blocks)
    voices = -24.0 + rng.normal(0, 2.0, 2)
    block, speaker = 0, 0
    while block < blocks:
        turn_end = block + int(rng.uniform(5, 40) * BLOCKS_PER_S)
        while block < min(turn_end, blocks):
            phrase = int(rng.uniform(1.5, 6.0) * BLOCKS_PER_S)
            syllables = np.convolve(rng.normal(0, 7.0, phrase + 1), [0.5, 0.5], "valid")
            end = min(block + phrase, blocks)
            level[block:end, speaker] = (voices[speaker] + rng.normal(0, 1.5) + syllables)[: end - block]
            block = end + int(rng.uniform(0.2, 1.0) * BLOCKS_PER_S)
        speaker = 1 - speaker
    return 10.0 ** (level / 10.0)


def score(rng, seconds, stems=4):
    """Slow swells of long notes."""
    blocks = seconds * BLOCKS_PER_S
    time = np.arange(blocks) / BLOCKS_PER_S
    level = np.empty((blocks, stems))
    for stem in range(stems):
        swell = sum(
            rng.uniform(1, 4) * np.sin(time / rng.uniform(4, 30) + rng.uniform(0, 6)) for _ in range(3)
        )
        level[:, stem] = -28.0 + rng.normal(0, 4) + swell + rng.normal(0, 1.0, blocks)
    return 10.0 ** (level / 10.0)


KINDS = {"band": band, "talk": talk, "score": score}


def folded(rng, energies, channels):
    """The stems as *channels* meters see them: all in one, panned over two, or each by itself (0)."""
    if channels == 0:
        return energies
    if channels == 1:
        return energies.sum(axis=1, keepdims=True)
    pan = rng.uniform(0.2, 0.8, energies.shape[1])
    return np.stack([energies @ pan, energies @ (1.0 - pan)], axis=1)


def with_moves(rng, energies, every_s):
    """The energies after a fader that moves about every *every_s*: (energies, [(time_s, change_db), …])."""
    blocks = len(energies)
    gain_db, moves = np.zeros(blocks), []
    block = int(rng.uniform(20, 20 + every_s) * BLOCKS_PER_S)
    while block < blocks - 200:
        change_db = rng.choice([-1.0, 1.0]) * rng.uniform(1.0, 6.0)
        length = max(int(rng.uniform(0.1, 1.0) * BLOCKS_PER_S), 1)
        gain_db += change_db * np.clip((np.arange(blocks) - block) / length, 0.0, 1.0)
        moves.append(((block + length / 2) / BLOCKS_PER_S, change_db))
        block += int(rng.uniform(0.5, 1.5) * every_s * BLOCKS_PER_S)
    return energies * 10.0 ** (gain_db[:, None] / 10.0), moves
