"""Files of many layouts, each against a whole-file computation with the weights written out by hand.

Weights: ITU-R BS.1770-5 Annex 3 (1.41 for 60° ≤ |azimuth| ≤ 120° below 30° of elevation, else 1.0) and
Annex 1 (the LFE does not count). Angles: BS.775 for one pair of surrounds, ±110°; BS.2051 system I for two,
side ±90° and rear ±135°. Bits: the definition of WAVE_FORMAT_EXTENSIBLE's mask; orders: RFC 9639 §9.1.3.
"""

import struct

import numpy as np
import pytest
import soundfile
from whole_file import K_WEIGHTING_48_KHZ, WholeFile

from sidecar.delivery.measure.whole_file import measure

RATE_HZ = 48_000
SIDE = 1.41
LFE = 0.0

MASKS = {
    0x4: [1],  # C: mono
    0x3: [1, 1],  # L R
    0xB: [1, 1, LFE],  # 2.1
    0x7: [1, 1, 1],  # L R C
    0x103: [1, 1, 1],  # L R, rear centre at 180°
    0x107: [1, 1, 1, 1],  # L R C, rear centre
    0x33: [1, 1, SIDE, SIDE],  # quad whose surrounds are called back
    0x603: [1, 1, SIDE, SIDE],  # quad whose surrounds are called side
    0x3B: [1, 1, LFE, SIDE, SIDE],  # 4.1
    0x10F: [1, 1, 1, LFE, 1],  # L R C LFE, rear centre
    0x37: [1, 1, 1, SIDE, SIDE],  # 5.0, back
    0x607: [1, 1, 1, SIDE, SIDE],  # 5.0, side
    0x3F: [1, 1, 1, LFE, SIDE, SIDE],  # 5.1, back
    0x60F: [1, 1, 1, LFE, SIDE, SIDE],  # 5.1, side
    0x137: [1, 1, 1, SIDE, SIDE, 1],  # six channels without an LFE
    0x633: [1, 1, 1, 1, SIDE, SIDE],  # two pairs without a centre
    0x13F: [1, 1, 1, LFE, SIDE, SIDE, 1],  # 6.1, back
    0x70F: [1, 1, 1, LFE, 1, SIDE, SIDE],  # 6.1, side
    0x637: [1, 1, 1, 1, 1, SIDE, SIDE],  # 7.0
    0xFF: [1, 1, 1, LFE, SIDE, SIDE, 1, 1],  # 7.1 with the additional pair in front
    0x63F: [1, 1, 1, LFE, 1, 1, SIDE, SIDE],  # 7.1: rear in front of side, by the order of the bits
    0x503F: [1, 1, 1, LFE, SIDE, SIDE, 1, 1],  # 5.1 with two tops
    0x2D60F: [1, 1, 1, LFE, SIDE, SIDE, 1, 1, 1, 1],  # 5.1 with four tops
    0x2D63F: [1, 1, 1, LFE, 1, 1, SIDE, SIDE, 1, 1, 1, 1],  # 7.1 with four tops
}
FLAC = {
    1: [1],
    2: [1, 1],
    3: [1, 1, 1],
    4: [1, 1, SIDE, SIDE],
    5: [1, 1, 1, SIDE, SIDE],
    6: [1, 1, 1, LFE, SIDE, SIDE],
    7: [1, 1, 1, LFE, 1, SIDE, SIDE],
    8: [1, 1, 1, LFE, 1, 1, SIDE, SIDE],
}


def noise(channels):
    """Each channel at a level of its own, so that no two weights can be exchanged unseen."""
    random = np.random.default_rng(channels)
    levels = 0.02 * np.arange(channels, 0, -1) + 0.02
    return np.clip(levels * random.standard_normal((RATE_HZ * 3 // 2, channels)), -1.0, 1.0)


def pcm24(frames):
    whole = np.rint(frames * (2**23 - 1)).astype("<i4")
    return whole.view(np.uint8).reshape(*whole.shape, 4)[..., :3].tobytes()


def wave(frames, mask, form):
    """WAV or RF64 with a mask, put together byte by byte."""
    channels, data = frames.shape[1], pcm24(frames)
    pcm = struct.pack("<H", 1) + bytes.fromhex("000000001000800000aa00389b71")
    fmt = struct.pack("<HHIIHH", 0xFFFE, channels, RATE_HZ, RATE_HZ * 3 * channels, 3 * channels, 24)
    fmt = b"fmt " + struct.pack("<I", 40) + fmt + struct.pack("<HHI", 22, 24, mask) + pcm
    size = 4 + len(fmt) + 8 + len(data)
    if form == "wav":
        head = struct.pack("<4sI4s", b"RIFF", size, b"WAVE")
        return head + fmt + struct.pack("<4sI", b"data", len(data)) + data
    ds64 = struct.pack("<4sIQQQI", b"ds64", 28, size + 36, len(data), len(frames), 0)
    return struct.pack("<4sI4s", b"RF64", 2**32 - 1, b"WAVE") + ds64 + fmt + b"data\xff\xff\xff\xff" + data


def with_mask_among_its_tags(flac, mask):
    """The same FLAC with its tags replaced by that one (RFC 9639 §8.6.2)."""
    tag = f"WAVEFORMATEXTENSIBLE_CHANNEL_MASK=0x{mask:04X}".encode()
    tags = struct.pack("<II", 0, 1) + struct.pack("<I", len(tag)) + tag
    place, kept, last = 4, b"", 0
    while not last:
        kind, size = flac[place], int.from_bytes(flac[place + 1 : place + 4], "big")
        last = kind & 0x80
        if kind & 0x7F != 4:
            kept += bytes([kind & 0x7F]) + flac[place + 1 : place + 4 + size]
        place += 4 + size
    return b"fLaC" + kept + b"\x84" + len(tags).to_bytes(3, "big") + tags + flac[place:]


def assert_measured_with(weights, path):
    """Integrated loudness and both maxima are those of the whole file, weighted by hand."""
    frames, _ = soundfile.read(path, always_2d=True)
    whole = WholeFile(frames, RATE_HZ, tuple(weights), K_WEIGHTING_48_KHZ)

    measured = measure(path, workers=1)

    assert measured.layout_from == "file"
    assert measured.reading.integrated == pytest.approx(whole.integrated, abs=0.001)
    assert measured.reading.max_momentary == pytest.approx(max(whole.windows(0.4, 0.01)), abs=0.001)


@pytest.mark.parametrize("form", ["wav", "rf64"])
@pytest.mark.parametrize("mask", MASKS, ids=hex)
def test_a_channel_mask_gives_each_channel_its_weight(tmp_path, mask, form):
    weights = MASKS[mask]
    path = tmp_path / f"a.{form}"
    path.write_bytes(wave(noise(len(weights)), mask, form))

    assert_measured_with(weights, path)


@pytest.mark.parametrize("channels", FLAC)
def test_flac_has_an_order_for_each_number_of_channels(tmp_path, channels):
    soundfile.write(tmp_path / "a.flac", noise(channels), RATE_HZ, subtype="PCM_24")

    assert_measured_with(FLAC[channels], tmp_path / "a.flac")


@pytest.mark.parametrize("mask", [mask for mask in MASKS if 2 < len(MASKS[mask]) <= 8], ids=hex)
def test_a_mask_among_the_tags_of_a_flac_comes_before_its_order(tmp_path, mask):
    weights = MASKS[mask]
    path = tmp_path / "a.flac"
    soundfile.write(path, noise(len(weights)), RATE_HZ, subtype="PCM_24")
    path.write_bytes(with_mask_among_its_tags(path.read_bytes(), mask))

    assert_measured_with(weights, path)


def test_an_lfe_alone_is_silence(tmp_path):
    (tmp_path / "a.wav").write_bytes(wave(noise(1), 0x8, "wav"))

    assert measure(tmp_path / "a.wav", workers=1).reading.integrated == -np.inf


def test_noise_in_the_rear_of_a_7_1_file_is_not_raised(tmp_path):
    """Against the same noise in the side: 1.41 in power, 1.5 dB."""
    frames = noise(1) @ np.eye(8)[[0]]
    readings = []
    for channel in (4, 6):
        path = tmp_path / f"{channel}.wav"
        path.write_bytes(wave(np.roll(frames, channel, axis=1), 0x63F, "wav"))
        readings.append(measure(path, workers=1).reading.integrated)
    rear, side = readings

    assert side - rear == pytest.approx(10 * np.log10(1.41), abs=1e-4)
