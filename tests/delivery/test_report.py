"""The report: true to what was measured, whole, and readable by everyone."""

import re
import subprocess
from dataclasses import replace
from datetime import UTC, datetime
from importlib.resources import files
from itertools import pairwise

import numpy as np
import pytest
import soundfile
from made import FACTS, RIGHT, level_history, made, made_check
from page_reader import PageReader

from sidecar.delivery.judge.checking import Unread, check_file
from sidecar.delivery.measure.fingerprint import Fingerprint
from sidecar.delivery.report.index import index_page
from sidecar.delivery.report.page import file_page
from sidecar.delivery.report.sheet import style
from sidecar.delivery.report.signature import Signature
from sidecar.model.readings import SILENCE
from sidecar.settings.goals import load_goal

SIGNATURE = Signature(datetime(2026, 3, 1, 12, 30, 15, tzinfo=UTC), "A. Mixer")
KNOWN_BY = Fingerprint(1_234_567, "ab" * 32)


def page_of(measured, *goals, file="mix.wav", index=""):
    return file_page(made_check(measured, *goals, file=file), KNOWN_BY, SIGNATURE, index)


def over_everything():
    history = level_history(600)
    history.short_term[100:130] = history.momentary[100:130] = -15.0
    history.true_peak[100:110] = history.true_peak[300:302] = 0.5
    return made(history=history, integrated=-20.0, max_short_term=-15.0, max_true_peak=0.5)


def silent():
    nothing = level_history(600, SILENCE, SILENCE, SILENCE)
    reading = replace(
        RIGHT,
        integrated=SILENCE,
        max_momentary=SILENCE,
        max_short_term=SILENCE,
        max_true_peak=SILENCE,
        true_peak=(SILENCE, SILENCE),
    )
    file = made(reading, replace(FACTS, sample_peak=(SILENCE, SILENCE), correlation=None), nothing)
    return replace(file, max_momentary_at_s=None, max_short_term_at_s=None, max_true_peak_at_s=None)


@pytest.mark.parametrize("measured", [made(), over_everything(), silent(), made(history=level_history(0))])
@pytest.mark.parametrize("goals", [("r128",), ("r128-s1", "a85", "aes-track")])
def test_a_page_is_whole_and_fetches_nothing(measured, goals):
    """Whatever was measured: nested elements, no identifier twice, nothing from elsewhere, no script."""
    page = PageReader(page_of(measured, *goals))

    assert page.references == []
    assert set(page.ids.values()) == {1}
    assert "url(" not in page.text
    assert "@import" not in page.text
    assert not re.search(r"\b(nan|inf|None)\b", page.text)


@pytest.mark.parametrize("measured", [made(), over_everything(), silent()])
def test_every_drawing_can_be_heard(measured):
    """Each has a title and a description that its element points to."""
    text = page_of(measured, "r128-s1")
    page = PageReader(text)
    pointed = [name for names in re.findall(r'aria-labelledby="([^"]+)"', text) for name in names.split()]

    assert page.elements["svg"] == page.elements["desc"] == text.count('role="img"')
    assert set(pointed) <= set(page.ids)
    assert 2 * page.elements["svg"] == len(pointed)


def test_the_page_says_who_measured_what_when_and_with_what():
    """All that makes it a proof."""
    text = PageReader(page_of(made(), "r128")).text

    for said in (
        *("A. Mixer", "2026-03-01 12:30:15 UTC", "Loudness Sidecar 0.", "ab" * 32, "1,234,567 bytes"),
        *("EBU R 128 V5 (2023)", "48,000 Hz", "WAV, 24-bit PCM", "2,880,000 frames, none lost", "0:01:00.0"),
        *("last word", "not a certified meter", "not sound pressure"),
    ):
        assert said in text


def test_the_fingerprintof_a_file_is_its_sha_256(tmp_path):
    """As the system's own command gives it."""
    path = tmp_path / "some.bin"
    path.write_bytes(bytes(range(256)) * 5000)
    known_by = Fingerprint.of(path)
    told = subprocess.run(["sha256sum", path], capture_output=True, text=True, check=True).stdout.split()[0]

    assert (told, 1_280_000) == (known_by.sha256, known_by.size_bytes)


def test_each_measure_is_held_against_the_goal():
    """The figures with what they are held against, and in words and a shape where they lie."""
    rows = {row[0]: row[1:] for row in PageReader(page_of(over_everything(), "r128-s1")).rows}

    assert rows["integrated"] == ["−20.0", "LUFS", "", "−23.0", "", "▷ 2.8 LU too high"]
    assert rows["highest true peak"] == ["0.5", "dBTP", "0:00:03.0", "−1.0", "", "△ 1.5 dB too high"]
    assert rows["max short-term"] == ["−15.0", "LUFS", "0:00:02.0", "−18.0", "", "▷ 3.0 LU too high"]
    assert rows["max momentary"] == ["−17.0", "LUFS", "0:00:01.0", "", "", ""]


def test_a_quiet_file_stands_under_and_a_right_one_passes():
    """The other two shapes."""
    quiet, right = (
        {row[0]: row[-1] for row in PageReader(page_of(measured, "r128")).rows}
        for measured in (made(integrated=-26.0), made())
    )

    assert (quiet["integrated"], right["integrated"]) == ("◁ 2.8 LU too low", "◇ passes")


@pytest.mark.parametrize("name", ["<script>alert(1).wav", 'a"b&amp;.wav', "räksmörgås 100%.wav"])
def test_a_file_name_is_text_and_nothing_else(name):
    """It appears as it is, whatever is in it."""
    page = PageReader(page_of(made(), "r128", file=name))

    assert page.texts.count(name) >= 2
    assert page.elements["script"] == 0


def test_the_verdict_is_what_comes_first():
    """Heading for heading: the file, whether it meets the goal, and only then the figures."""
    page = page_of(over_everything(), "r128-s1")
    places = [
        page.index(words) for words in ("<h1>", "✗ Does not meet", "A gain of −", "<table", "The history")
    ]

    assert all(before < after for before, after in pairwise(places))


def test_the_index_links_each_page_and_names_what_could_not_be_read():
    """Links work for any name; the count is in the heading."""
    goal = load_goal("r128")
    right = made_check(made(), "r128", file="a b#1.wav")
    broken = Unread("gone.wav", "There is no file gone.wav.")
    page = PageReader(index_page([right, broken], ["r/a b#1.wav.html", "r/gone.wav.html"], [goal], SIGNATURE))

    assert page.links == ["r/a%20b%231.wav.html"]
    assert "1 of 2 meets every goal; 1 could not be read" in page.text
    assert ["a b#1.wav", "✓ passes", "0:01:00.0", "−23.0", "6.0", "−19.0", "−3.0"] in page.rows
    assert any("There is no file gone.wav." in row[-1] for row in page.rows)


def test_each_verdict_of_the_index_carries_its_goal_for_a_page_without_a_head():
    checked = made_check(made(), "r128", "r128-s1")
    goals = [load_goal("r128"), load_goal("r128-s1")]
    page = index_page([checked], ["a.html"], goals, SIGNATURE)

    assert re.findall(r'class="side" data-measure="([^"]+)"', page) == ["r128", "r128-s1"]


def test_words_can_be_read_and_shapes_seen():
    """WCAG 2.2: 4.5:1 for words (SC 1.4.3), 3:1 for what carries meaning (SC 1.4.11), on white."""
    rules = dict(re.findall(r"([^{}]+)\{([^}]+)\}", re.sub(r"/\*.*?\*/", "", style(), flags=re.DOTALL)))
    rules = {selector.strip(): rule for selector, rule in rules.items()}
    words = [rule for selector, rule in rules.items() if "text" in selector or selector.endswith("-words")]
    graphic = [rules[look] for look in (".integrated", ".short-term", ".limit", ".ceiling-line", ".sample")]
    graphic += [rules[f".mark.{shape}"] for shape in ("under", "over", "ceiling")]

    assert all(contrast(rule, "fill") >= 4.5 for rule in words if "fill:" in rule)
    assert all(contrast(rule, "stroke") >= 3.0 for rule in graphic)


def contrast(rule, what, ground="ffffff"):
    """WCAG 2.2's definition of contrast ratio."""
    (colour,) = re.findall(rf"(?<![-\w]){what}: #([0-9a-f]{{6}})", rule)
    darker, lighter = sorted((luminance(colour), luminance(ground)))
    return (lighter + 0.05) / (darker + 0.05)


def luminance(colour):
    """WCAG 2.2's definition of relative luminance."""
    parts = np.array([int(colour[k : k + 2], 16) / 255 for k in (0, 2, 4)])
    linear = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def test_words_can_be_read_and_shapes_seen_in_the_dark():
    """The same ratios against the dark ground; what prints stays on white."""
    css = files("sidecar.delivery.report").joinpath("report.css").read_text(encoding="utf-8")
    (dark,) = re.findall(r"@media screen and \(prefers-color-scheme: dark\) \{\n(.*?)\n\}", css, re.DOTALL)
    rules = {selector.strip(): rule for selector, rule in re.findall(r"([^{}]+)\{([^}]+)\}", dark)}
    ground = "14191d"
    fills = [rule for selector, rule in rules.items() if " text" in selector or selector.endswith("-words")]
    words = [rule for rule in rules.values() if re.search(r"(?<![-\w])color: #", rule)]
    graphic = [
        rule
        for selector, rule in rules.items()
        if selector.startswith((".mark", ".limit", ".short", ".target"))
    ]

    assert all(contrast(rule, "fill", ground) >= 4.5 for rule in fills if "fill:" in rule)
    assert all(contrast(rule, "color", ground) >= 4.5 for rule in words)
    assert all(contrast(rule, "stroke", ground) >= 3.0 for rule in graphic)
    page = page_of(made(), "r128")
    assert page.index(".pass-zone { fill: #d9ece8; }") < page.index(".pass-zone { fill: #1d3b38; }"), (
        "the last rule wins"
    )


def test_a_real_file_end_to_end(tmp_path):
    """Tech 3341 §2.9: a tone of −17 dBFS reads −17.0 and is to be brought down by 6.0 dB."""
    t = np.arange(5 * 48_000) / 48_000
    tone = 10 ** (-17 / 20) * np.sin(2 * np.pi * 1000 * t)
    soundfile.write(tmp_path / "tone.wav", np.stack([tone, tone], axis=1), 48_000)
    file = str(tmp_path / "tone.wav")
    checked = check_file(file, None, [load_goal("r128")])
    page = PageReader(file_page(checked, Fingerprint.of(tmp_path / "tone.wav"), SIGNATURE))

    assert "A gain of −6.0 dB brings it to −23.0 LUFS with peaks at −23.0 dBTP." in page.text
    assert file in page.texts
