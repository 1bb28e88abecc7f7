"""What is drawn is what was measured."""

import re

import numpy as np
import pytest
import soundfile
from made import level_history, made

from sidecar.delivery.judge.verdict import judge
from sidecar.delivery.measure.dialogue import FileDialogue
from sidecar.delivery.measure.whole_file import measure
from sidecar.delivery.report.history_sheet import history_sheet
from sidecar.delivery.report.levels_sheet import levels_sheet, spread_of
from sidecar.delivery.report.markup import join, tag
from sidecar.delivery.report.peaks_sheet import peaks_sheet
from sidecar.delivery.report.scales_sheet import scale_sheet
from sidecar.delivery.report.sheet import Scale, Sheet
from sidecar.model.dialogue import DialogueLoudness
from sidecar.settings.goals import load_goal

R128, SHORT_FORM = load_goal("r128"), load_goal("r128-s1")


def points(svg, look):
    """Corners of each line or area of that look."""
    found = re.findall(rf'class="{look}" points="([^"]+)"', svg)
    return [[tuple(map(float, pair.split(","))) for pair in points.split()] for points in found]


def boxes(svg, look):
    """x, y, width, height of each box of that look."""
    pattern = rf'<rect class="{look}" x="(\S+)" y="(\S+)" width="(\S+)" height="(\S+)"'
    return [tuple(map(float, box)) for box in re.findall(pattern, svg)]


def middles(svg, shape):
    """Centre between the outermost corners of each mark."""
    corners = [np.array(mark) for mark in points(svg, f"mark {shape}")]
    return [tuple((mark.max(axis=0) + mark.min(axis=0)) / 2) for mark in corners]


def drawn(history, goal=SHORT_FORM, **changes):
    file = made(history=history, **changes)
    return str(history_sheet(file, judge(file, goal)).svg())


def test_dialogue_is_marked_where_it_is():
    file = made(history=level_history(600))
    found = FileDialogue(DialogueLoudness("detector", -23.0, -23.0, 15.0, 60.0), ((150, 300),))

    svg = str(history_sheet(file, judge(file, R128), dialogue=[found]).svg())

    ((x, _, width, _),) = [box for box in boxes(svg, "speech-span") if box[1] < 300]
    span, seconds = 790 - 52, file.reading.seconds
    assert x == pytest.approx(52 + span * 15.0 / seconds, abs=0.2)
    assert width == pytest.approx(span * 15.0 / seconds, abs=0.2)
    assert "dialogue" in svg
    assert "speech-span" not in str(history_sheet(file, judge(file, R128)).svg())


def test_markup_escapes_what_is_not_markup():
    """Text never becomes an element or an end of an attribute."""
    assert tag("p", "a\x01b\udcff\ufffe\tc") == "<p>a\ufffdb\ufffd\ufffd\ufffdc</p>"
    assert tag("p", "1 < 2", tag("b", "3"), title='a"<b') == '<p title="a&quot;&lt;b">1 &lt; 2<b>3</b></p>'
    assert join("&", tag("br")) == "&amp;<br>"


@pytest.mark.parametrize(("value", "place"), [(0, 10), (5, 60), (10, 110), (-3, 10), (99, 110)])
def test_a_scale_is_even_and_holds_what_lies_outside(value, place):
    """10 units a step."""
    assert place == Scale(0, 10, 10, 110).at(value)


def test_ticks_are_the_finest_that_fit():
    """0 to 47 with at most six: every 10."""
    assert Scale(0, 47, 0, 1).ticks(6, (1, 2, 5, 10, 20)) == [0, 10, 20, 30, 40]


def test_no_moment_is_lost_between_columns():
    """Two hours in a few hundred columns: the one tenth of a second at −5 is drawn at its height and time."""
    history = level_history(72_000)
    history.momentary[54_321] = -5.0
    svg = drawn(history, seconds=7200.0, max_momentary=-5.0)
    (area,) = points(svg, "momentary")
    highest = min(area, key=lambda point: point[1])
    usual = points(svg, "integrated")[0][0][1]

    assert pytest.approx(highest[0], abs=2.5) == 52 + (790 - 52) * 5432.1 / 7200
    assert pytest.approx((usual - highest[1]) / units_a_lu(svg), abs=0.05) == 18.0


def units_a_lu(svg):
    """From the limit of the short-term at −18.0 down to the target at −23.0."""
    return (points(svg, "target")[0][0][1] - points(svg, "limit")[0][0][1]) / 5.0


def test_spans_over_a_limit_are_marked_where_they_are():
    """Short-term over −18.0 from 0:10 to 0:13 of a minute, worst at its second second."""
    history = level_history(600)
    history.short_term[100:130] = -17.0
    history.short_term[119] = -15.0
    svg = drawn(history, max_short_term=-15.0)
    span, _in_legend = boxes(svg, "over-span")
    (mark,) = middles(svg, "over")
    a_second = (790 - 52) / 60

    assert (52 + 10 * a_second, 3 * a_second) == pytest.approx((span[0], span[2]), abs=0.1)
    assert 52 + 12 * a_second == pytest.approx(mark[0], abs=0.1)


def test_peaks_over_the_ceiling_are_marked_and_else_the_highest_is():
    """△ over each place; ◇ where nothing is over."""
    history = level_history(600)
    history.true_peak[100:110] = history.true_peak[300:302] = 0.5
    over, under = drawn(history, max_true_peak=0.5), drawn(level_history(600))

    assert (len(middles(over, "ceiling")), len(middles(over, "inside"))) == (2, 0)
    assert (len(middles(under, "ceiling")), len(middles(under, "inside"))) == (0, 1)
    assert pytest.approx(middles(under, "inside")[0][0], abs=0.1) == 52 + (790 - 52) * 3.0 / 60


@pytest.mark.slow
def test_a_history_stays_small_however_long_the_programme():
    """A day of it, over its limits every few seconds, is a drawing of some tens of kilobytes."""
    rng = np.random.default_rng(1)
    history = level_history(864_000)
    history.short_term[:] = rng.uniform(-40.0, -15.0, 864_000)
    history.true_peak[::50] = 0.5

    drawing = drawn(history, seconds=86_400.0, max_short_term=-15.0, max_true_peak=0.5)
    assert len(drawing) < 100_000
    assert 738 / 1.5 > len(boxes(drawing, "peak-span")) > 0


@pytest.mark.parametrize(
    ("levels", "low", "high"),
    [
        ([(-20.0, 200), (-30.0, 200)], -30.0, -20.0),  # Tech 3342 §6, case 1: 10 LU
        ([(-20.0, 200), (-15.0, 200)], -20.0, -15.0),  # case 2: 5 LU
        ([(-40.0, 200), (-20.0, 200)], -40.0, -20.0),  # case 3: 20 LU
        # case 4: 15 LU, as −50 is under the relative gate
        ([(-50.0, 200), (-35.0, 200), (-20.0, 200), (-35.0, 200), (-50.0, 200)], -35.0, -20.0),
        ([(-20.0, 200), (-90.0, 200)], -20.0, -20.0),  # under the absolute gate of −70
    ],
)
def test_the_ends_of_the_range_are_those_of_tech_3342(levels, low, high):
    """The levels of the published cases, without their transitions."""
    spread = spread_of(np.concatenate([np.full(count, level) for level, count in levels]))

    assert (low, high) == pytest.approx((spread.low, spread.high))


def test_the_drawn_range_is_the_measured_one(tmp_path):
    """From the history of a real file, within what its coarser grid can show."""
    rng = np.random.default_rng(2)
    steps = np.repeat(10 ** (rng.uniform(-45, -20, 40) / 20), 48_000)
    soundfile.write(tmp_path / "mix.wav", steps[:, None] * rng.standard_normal((steps.size, 2)), 48_000)
    measured = measure(tmp_path / "mix.wav")
    spread = spread_of(measured.history.short_term[29:])

    assert measured.reading.loudness_range == pytest.approx(spread.high - spread.low, abs=0.3)


def test_the_bars_are_shares_of_the_time():
    """A quarter at −30, the rest at −20: one bar is a third of the other; one below the gate is faint."""
    history = level_history(400, short_term=-20.25)
    history.short_term[:129] = -30.25
    history.short_term[:29] = -99.0
    svg = str(levels_sheet(made(history=history), R128).svg())
    loud, quiet = sorted((box[3] for box in boxes(svg, "bar")), reverse=True)

    assert pytest.approx(loud / quiet, rel=0.01) == 271 / 100


def test_each_channel_has_its_peak():
    """Inside in grey with ◇, over the ceiling with △ and the word."""
    svg = str(peaks_sheet(["1", "2"], (-3.0, 0.5), (-3.2, 0.0), R128).svg())

    assert (len(middles(svg, "inside")), len(middles(svg, "ceiling"))) == (1, 1)
    assert middles(svg, "inside")[0][0] < points(svg, "ceiling-line")[0][0][0] < middles(svg, "ceiling")[0][0]
    assert ">0.5 dBTP, too high<" in svg
    assert ">−3.0 dBTP<" in svg


@pytest.mark.parametrize(("offset", "side"), [(-0.3, -1), (0.0, 0), (0.3, 1), (40.0, 1)])
def test_left_is_under_and_right_is_over(offset, side):
    """The middle of the scale is the goal, and nothing leaves the scale."""
    svg = str(scale_sheet("x", offset, (-0.2, 0.2), "inside").svg())
    (mark,) = middles(svg, "inside")

    assert side == np.sign(round(mark[0] - 130, 1))
    assert 0 < mark[0] < 260


def test_a_drawing_alone_brings_its_style_and_size():
    """It can be opened and rendered by itself."""
    svg = str(Sheet("x", (10.0, 20.0), "a < b", "c").svg(alone=True))

    assert svg.startswith('<svg class="drawing" viewBox="0 0 10 20"')
    assert 'xmlns="http://www.w3.org/2000/svg" width="10" height="20"' in svg
    assert "<style>" in svg
    assert "<title" in svg
    assert "a &lt; b</title>" in svg
