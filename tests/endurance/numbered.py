"""A signal that numbers its own frames, so that a receiver knows exactly which are missing.

Two channels: the left one holds the lower 20 bits of the number, the right one the upper bits and a mark
that no silence has. As 32-bit floats both are exact.

As a program: writes raw float32 stereo to the standard output for so many seconds at so many Hz.
"""

import sys

import numpy as np

_LOW = 1 << 20
_SCALE = 1 / (4 * _LOW)  # 12 dB under full scale at most


def numbered(first, count):
    """Frames number *first* and following, shape (count, 2), float32."""
    number = np.arange(first, first + count)
    return np.stack([(number % _LOW) * _SCALE, (number // _LOW + 1) * _SCALE], axis=1).astype(np.float32)


def numbers(frames):
    """The numbers in *frames*; −1 for silence."""
    low, high = np.round(np.asarray(frames, np.float64) / _SCALE).astype(np.int64).T
    return np.where(high > 0, (high - 1) * _LOW + low, -1)


def main():
    seconds, rate_hz = map(int, sys.argv[1:])
    for second in range(seconds):
        sys.stdout.buffer.write(numbered(second * rate_hz, rate_hz).tobytes())
    sys.stdout.buffer.flush()


if __name__ == "__main__":
    main()
