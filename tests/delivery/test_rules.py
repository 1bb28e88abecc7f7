"""Files held against the rules of a goal besides its loudness, on real files that keep and break each."""

from dataclasses import replace

import numpy as np
import pytest
import soundfile

from sidecar.delivery.judge.checking import check_file
from sidecar.delivery.judge.rules import rule_words
from sidecar.delivery.judge.verdict import findings_by_goal, judge
from sidecar.delivery.measure.whole_file import measure
from sidecar.settings.delivery_rules import DeliveryRules, SilenceLimits
from sidecar.settings.goals import load_goal

RATE_HZ = 48_000


def tone(seconds=4.0, rate_hz=RATE_HZ, channels=2):
    """On the target of R 128 (Tech 3341 §2.9: a tone in phase on two channels reads its peak level)."""
    t = np.arange(round(seconds * rate_hz)) / rate_hz
    wave = 10 ** (-23 / 20) * np.sin(2 * np.pi * 1000 * t)
    frames = np.stack([wave] * channels, axis=1)
    frames[1::2, 1:] *= 0.999  # no dual mono
    return frames


@pytest.fixture
def faults(tmp_path):
    """Writes frames, and gives the faults against some rules by what they are about."""

    def write(rules, frames=None, rate_hz=RATE_HZ, name="mix.wav", subtype="PCM_24"):
        path = tmp_path / name
        soundfile.write(path, tone(rate_hz=rate_hz) if frames is None else frames, rate_hz, subtype)
        goal = replace(load_goal("r128-live"), delivery=rules)
        (verdict,) = check_file(str(path), None, [goal]).verdicts
        found = {f.about: f.sentence for f in verdict.findings if f.kind == "fault"}
        assert verdict.passes == (not found)
        return found

    return write


def test_without_rules_a_file_of_any_kind_passes(faults):
    assert faults(None, rate_hz=44_100, name="mix.flac", subtype="PCM_16") == {}
    assert faults(DeliveryRules(), rate_hz=44_100, name="mix.flac", subtype="PCM_16") == {}


def test_the_sample_rate(faults):
    rules = DeliveryRules(sample_rates_hz=(48_000, 96_000))

    assert faults(rules) == {}
    assert faults(rules, rate_hz=44_100) == {
        "sample rate": "Its sample rate is 44,100 Hz; the goal asks for 48,000 Hz or 96,000 Hz."
    }


@pytest.mark.parametrize(
    ("name", "subtype", "passes"),
    [
        ("a.wav", "PCM_24", True),
        ("a.flac", "PCM_24", True),
        ("a.aiff", "PCM_24", True),
        ("a.caf", "ALAC_24", True),
        ("a.wav", "FLOAT", True),
        ("a.wav", "PCM_16", False),
        ("a.wav", "PCM_U8", False),
        ("a.ogg", "VORBIS", False),
    ],
)
def test_the_bit_depth(faults, name, subtype, passes):
    found = faults(DeliveryRules(bit_depths=(24, "float")), name=name, subtype=subtype)

    assert ("bit depth" not in found) == passes
    assert passes or "the goal asks for 24-bit or floating point." in found["bit depth"]


@pytest.mark.parametrize(
    ("layouts", "channels", "passes"),
    [
        (("stereo", "5.1"), 2, True),
        (("stereo", "5.1"), 6, True),
        (("L,R",), 2, True),
        (("R,L",), 2, False),
        (("L,R,C,LFE,Ls,Rs",), 6, True),
        (("5.1",), 2, False),
    ],
)
def test_the_channel_layout(tmp_path, layouts, channels, passes):
    path = tmp_path / "mix.wav"
    soundfile.write(path, tone(channels=channels), RATE_HZ, "PCM_24")
    goal = replace(load_goal("aes-album"), delivery=DeliveryRules(layouts=layouts))
    verdict = judge(measure(path), goal)

    assert ("layout" not in {f.about for f in verdict.findings if f.kind == "fault"}) == passes


@pytest.mark.parametrize(
    ("head_s", "tail_s", "about"),
    [
        (0.5, 1.0, set()),
        (2.0, 3.0, set()),
        (0.3, 1.0, {"head silence"}),
        (2.2, 1.0, {"head silence"}),
        (0.5, 0.8, {"tail silence"}),
        (0.0, 0.0, {"head silence", "tail silence"}),
    ],
)
def test_silence_at_head_and_tail(faults, head_s, tail_s, about):
    """Dithered silence counts too: it stays under −60 dBFS without a digital zero."""
    rules = DeliveryRules(head_silence_s=SilenceLimits(0.5, 2.0), tail_silence_s=SilenceLimits(least_s=1.0))
    hiss = np.random.default_rng(3)
    frames = np.concatenate(
        [
            1e-5 * hiss.standard_normal((round(head_s * RATE_HZ), 2)),
            tone(),
            1e-5 * hiss.standard_normal((round(tail_s * RATE_HZ), 2)),
        ]
    )

    assert faults(rules, frames).keys() == about


@pytest.mark.parametrize("workers", [1, 3])
@pytest.mark.parametrize(("head", "tail"), [(0, 0), (1, 7), (70_001, 90_002), (33_600, 12_000)])
def test_the_silence_is_measured_to_the_frame(tmp_path, head, tail, workers):
    """Wherever the file is cut for measuring. One step over −60 dBFS is sound, one under it is not."""
    over, under = 10 ** (-60 / 20) + 2**-23, 10 ** (-60 / 20) - 2**-23
    frames = np.full((head + 700_000 + tail, 2), under)
    frames[[head, head + 699_999], 1] = -over
    soundfile.write(tmp_path / "mix.wav", frames, RATE_HZ, "PCM_24")
    facts = measure(tmp_path / "mix.wav", workers=workers).facts

    assert (facts.quiet_head_s, facts.quiet_tail_s) == (head / RATE_HZ, tail / RATE_HZ)


def test_a_file_that_is_silence_is_all_head_and_all_tail(tmp_path):
    soundfile.write(tmp_path / "mix.wav", np.zeros((RATE_HZ, 2)), RATE_HZ, "PCM_24")
    facts = measure(tmp_path / "mix.wav").facts

    assert (facts.quiet_head_s, facts.quiet_tail_s) == (1.0, 1.0)


def test_the_notes_that_are_named_fail_a_file_and_no_other(tmp_path):
    path = tmp_path / "mix.wav"
    frames = tone()
    frames[RATE_HZ : RATE_HZ + 5] = 1.0
    frames[:, 1] *= -1.0
    soundfile.write(path, frames, RATE_HZ, "PCM_24")
    plain = replace(load_goal("r128"), ceiling_dbtp=3.0)
    strict = replace(plain, name="strict", delivery=DeliveryRules(failing_notes=("clipping", "dropout")))
    verdicts = check_file(str(path), None, [plain, strict]).verdicts
    kinds = [{f.about: f.kind for f in verdict.findings} for verdict in verdicts]

    assert [verdict.passes for verdict in verdicts] == [True, False]
    assert kinds[0] == {"clipping": "note", "inverted channel": "note"}
    assert kinds[1] == {"clipping": "fault", "inverted channel": "note"}
    assert [(goal, f.kind, f.about) for goal, f in findings_by_goal(verdicts)] == [
        ("strict", "fault", "clipping"),
        ("", "note", "inverted channel"),
    ]


def test_the_rules_are_told_in_a_sentence():
    head, tail = SilenceLimits(0.0, 2.0), SilenceLimits(1.0)
    rules = DeliveryRules((48_000,), (24,), ("stereo",), head, tail, ("clipping",))

    assert rule_words(rules) == (
        "48,000 Hz; 24-bit; stereo; at most 2.0 s of silence at the head; at least 1.0 s of silence at the "
        "tail; none of: clipping."
    )
    assert rule_words(DeliveryRules()) == ""
