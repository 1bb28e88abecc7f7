"""Invented stems as audio, and their mix measured the long way: filter, remix, gate."""

import numpy as np
from advice_reference import integrated
from scipy.signal import lfilter, resample_poly

RATE_HZ = 48_000
BLOCK = RATE_HZ // 10

SHELF = ([1.53512485958697, -2.69169618940638, 1.19839281085285], [1.0, -1.69065929318241, 0.73248077421585])
HIGH_PASS = ([1.0, -2.0, 1.0], [1.0, -1.99004745483398, 0.99007225036621])
"""ITU-R BS.1770-5 Annex 1, Tables 1 and 2."""


def k_weighted(audio):
    """audio: (…, samples)."""
    return lfilter(*HIGH_PASS, lfilter(*SHELF, audio))


def stereo_stems(stems, seconds, seed, shared=0.5):
    """Noise in phrases, shape (stems, 2, samples): *shared* of each is one room, some inverted."""
    rng = np.random.default_rng(seed)
    samples = seconds * RATE_HZ
    room = rng.normal(size=(2, samples))
    audio = np.empty((stems, 2, samples))
    for stem in range(stems):
        own = rng.normal(size=(2, samples))
        tone = [[1.0], [1.0, *rng.uniform(-0.45, 0.45, 2)]]
        phrases = np.repeat(rng.choice([0.001, 0.3, 1.0], size=samples // (RATE_HZ // 2)), RATE_HZ // 2)
        level = 10.0 ** (rng.uniform(-45.0, -30.0) / 20.0)
        sign = -1.0 if stem % 3 == 2 else 1.0
        audio[stem] = level * phrases * lfilter(*tone, own + sign * shared * room)
    return audio


def mean_products(audio):
    """K-weighted channel-summed mean products, one a block: (blocks, stems, stems)."""
    weighted = k_weighted(audio)
    blocks = weighted.reshape(*weighted.shape[:2], -1, BLOCK)
    return np.einsum("icbt,jcbt->bij", blocks, blocks, optimize=True) / BLOCK


def mixed(audio, gains_db):
    """The stereo mix: gains in dB, one a stem."""
    return np.tensordot(10.0 ** (np.asarray(gains_db) / 20.0), audio, axes=1)


def mix_loudness(audio, gains_db):
    """Integrated loudness of the remixed audio, LUFS."""
    weighted = k_weighted(mixed(audio, gains_db))
    return integrated((weighted.reshape(2, -1, BLOCK) ** 2).mean(axis=2).sum(axis=0))


def true_peaks(audio):
    """Four times oversampled peaks of each block in dBTP, channels joined; audio: (…, 2, samples)."""
    fine = np.abs(resample_poly(audio, 4, 1, axis=-1))
    blocks = fine.reshape(*fine.shape[:-1], -1, 4 * BLOCK).max(axis=(-3, -1))
    return 20.0 * np.log10(np.maximum(blocks, 1e-12))
