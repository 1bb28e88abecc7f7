"""Filters of the rehearsal: Butterworth bands, second-order sections, convolution.

General-purpose libraries have all three; the one that does takes a second to import.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sidecar.native.kernels import kernel

Sections = NDArray[np.float64]
"""Shape (sections, 6): b0 b1 b2 1 a1 a2 each."""


def butterworth(order: int, low_hz: float, high_hz: float, rate_hz: float) -> Sections:
    """Returns a filter that passes from one frequency to the other, with its −3 dB points there.

    A *low_hz* of 0, or a *high_hz* from half the rate up, leaves that side open. It is the analogue filter,
    taken over by the bilinear transform; each section passes the reference frequency unchanged.
    """
    low, high = (float(np.tan(np.pi * hz / rate_hz)) for hz in (low_hz, min(high_hz, 0.499 * rate_hz)))
    poles = -np.exp(0.5j * np.pi * np.arange(1 - order, order, 2) / order)
    if low_hz <= 0.0:
        poles, zeros, reference = poles * high, (-1.0, -1.0), 1.0 + 0.0j
    elif high_hz >= rate_hz / 2:
        poles, zeros, reference = low / poles, (1.0, 1.0), -1.0 + 0.0j
    else:
        middle = poles * (high - low) / 2.0
        apart = np.sqrt(middle**2 - low * high)
        poles, zeros = np.concatenate([middle + apart, middle - apart]), (1.0, -1.0)
        reference = complex(np.exp(2j * np.arctan(np.sqrt(low * high))))
    return np.array([_section(pair, zeros, reference) for pair in _pairs((1.0 + poles) / (1.0 - poles))])


def _pairs(poles: NDArray[np.complex128]) -> list[NDArray[np.complex128]]:
    """Poles that make a section of real coefficients: conjugates, two real ones, or the one that is left."""
    upper = poles[poles.imag > 1e-12]
    real = np.sort(poles[np.abs(poles.imag) <= 1e-12].real).astype(np.complex128)
    return [*np.stack([upper, upper.conj()], axis=1), *(real[at : at + 2] for at in range(0, real.size, 2))]


def _section(poles: NDArray[np.complex128], zeros: tuple[float, ...], reference: complex) -> Sections:
    over, under = (np.poly(roots).real for roots in (zeros[: poles.size], poles))
    gain = abs(np.polyval(over, reference) / np.polyval(under, reference))
    section = np.zeros(6)
    section[: over.size] = over / gain
    section[3 : 3 + under.size] = under
    return section


def filtered(sound: NDArray[Any], chains: Sections, frame: int, state: Sections) -> NDArray[np.float64]:
    """Returns a mono sound behind sections in series, which change every *frame* samples.

    chains: shape (chains, sections, 6), one for each *frame* samples, of which the last goes on to the end.
    state: shape (sections, 2), carried on in place (transposed direct form II).
    """
    out = np.empty(len(sound))
    _run_sections(np.ascontiguousarray(sound), chains, frame, state, out)
    return out


@kernel
def _run_sections(sound: Any, chains: Any, frame: int, state: Any, out: Any) -> None:
    for at in range(chains.shape[0]):
        start = at * frame
        stop = start + frame if at + 1 < chains.shape[0] else sound.size
        for i in range(start, stop):
            x = np.float64(sound[i])
            for s in range(chains.shape[1]):
                y = chains[at, s, 0] * x + state[s, 0]
                state[s, 0] = chains[at, s, 1] * x - chains[at, s, 4] * y + state[s, 1]
                state[s, 1] = chains[at, s, 2] * x - chains[at, s, 5] * y
                x = y
            out[i] = x


def convolved(sound: NDArray[np.float32], response: NDArray[np.float32]) -> NDArray[np.float64]:
    """Returns the full convolution along the first axis; one of both may have a single column."""
    frames = len(sound) + len(response) - 1
    room = _smooth(frames)
    spectrum = np.fft.rfft(sound, room, axis=0) * np.fft.rfft(response, room, axis=0)
    return np.asarray(np.fft.irfft(spectrum, room, axis=0)[:frames])


def _smooth(least: int) -> int:
    """The least length without other factors than 2, 3 and 5, which transforms quickly."""
    found = 1 << (least - 1).bit_length()
    for threes in range(12):
        for fives in range(8):
            odd = 3**threes * 5**fives
            found = min(found, odd << max(0, (-(-least // odd) - 1).bit_length()))
    return found
