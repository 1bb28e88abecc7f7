"""The programme: a radio feature about an invented harbour, Merrow Quay, in an invented tongue.

Its levels are a practitioner's rough mix for −23 LUFS that came out too hot: a welcome a little under the
middle of the whole, a storm that runs far over it, and a quiet morning after.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial

from sidecar.sources.rehearsal.cast import (
    MASTER,
    MASTER_SHOUTING,
    NARRATOR,
    REPORTER,
    dialogue,
    monologue,
)
from sidecar.sources.rehearsal.performance import Cue
from sidecar.sources.rehearsal.tunes import (
    BED_BAR_S,
    STORM_BAR_S,
    WALTZ,
    WALTZ_BAR_S,
    bed_bar,
    chime_bar,
    last_chord,
    storm_bar,
    waltz_bar,
)
from sidecar.sources.rehearsal.weather import (
    breaker,
    foghorn,
    footsteps,
    gull,
    gust,
    rain,
    ship_bell,
    swell,
    thunder,
)

TITLE = "Rehearsal: Merrow Quay"

_SWELL_S = 9.0
_SWELL_EVERY_S = 3.5


@dataclass(frozen=True, slots=True)
class Section:
    """A part of the programme; the times of its cues count from its start."""

    title: str
    seconds: float
    cues: tuple[Cue, ...]


def _sea(seconds: float, *, gain_db: float, lead_s: float = 3.5, stop: bool = False) -> Iterator[Cue]:
    """Waves that overlap, from one side and the other; the last reaches into the next section or stops."""
    span_s = seconds + lead_s - (_SWELL_S if stop else _SWELL_EVERY_S)
    for index in range(int(span_s / _SWELL_EVERY_S) + 1):
        pan = (-0.6, 0.5, -0.1, 0.7)[index % 4]
        yield Cue(_SWELL_EVERY_S * index - lead_s, "ambience", gain_db, partial(swell, _SWELL_S, pan=pan))


def _waltz(at_s: float, *, gain_db: float, full: bool, bars: Sequence[str] = WALTZ) -> Iterator[Cue]:
    for index, bar in enumerate(bars):
        yield Cue(at_s + WALTZ_BAR_S * index, "music", gain_db, partial(waltz_bar, bar, full=full))


def _quay_at_dusk() -> Iterator[Cue]:
    """Cold open: water, gulls, a bell, and the narrator before any music."""
    yield from _sea(16.0, gain_db=-12.5, lead_s=0.0)
    yield Cue(0.4, "effects", -16.0, partial(ship_bell, strokes=2, pan=-0.4))
    yield Cue(2.2, "effects", -18.0, partial(gull, calls=3, pan=0.6))
    yield Cue(9.5, "effects", -22.0, partial(gull, calls=4, pan=-0.7))
    yield from monologue(
        2.6,
        NARRATOR,
        "'sela merok venai, dor halina kesto umari.",
        "tavin dorelu mano, sira vel adona.",
        "'nemi talo, perun asiva, lo merok desan.",
        gain_db=-1.5,
        gap_s=0.5,
    )


def _signature() -> Iterator[Cue]:
    """The waltz that names the programme."""
    yield from _sea(20.0, gain_db=-22.0)
    yield from _waltz(0.0, gain_db=-8.5, full=False)


def _welcome() -> Iterator[Cue]:
    """The narrator over a bed of strings and harp."""
    yield from _sea(28.0, gain_db=-24.0)
    for bar in range(7):
        yield Cue(BED_BAR_S * bar - 1.0, "music", -9.0, partial(bed_bar, bar))
    yield from monologue(
        1.2,
        NARRATOR,
        "'merok venai asolu dani, e tori valemo sunak.",
        "kelo ramin, fasu delor, himena to varesi.",
        "'do sali menoru, adan vekali, se nomu porela.",
        "tirana holu, wes imaro, dal keniso?",
        "'ye lomani resu, tavi sonel, merok dorina falu.",
        "xali venore, posa mindu.",
        gain_db=-1.5,
        gap_s=0.45,
    )


def _harbour_master() -> Iterator[Cue]:
    """An interview on the quay: two voices, boots, gulls, a horn far out."""
    yield from _sea(54.0, gain_db=-13.5, stop=True)
    yield Cue(0.0, "effects", -14.0, partial(footsteps, steps=7))
    yield Cue(13.0, "effects", -20.0, partial(gull, calls=3, pan=0.8))
    yield Cue(27.5, "effects", -15.0, partial(foghorn, 2.2, pan=-0.8))
    yield Cue(40.0, "effects", -21.0, partial(gull, calls=5, pan=-0.5))
    lines = [
        (REPORTER, "'sano veli, kaptu orun, des maliva to harenu?"),
        (MASTER, "'ah, merok, dolu vano meris."),
        (MASTER, "goru tamal, debo nasu horan, e velo kardun."),
        (REPORTER, "e to dovan, sil umera?"),
        (MASTER, "'no, no, varun desola, bem tarik umon halda."),
        (MASTER, "roku men adora, gal venu mordas, sela dun."),
        (REPORTER, "'himo salin, tere valu nesi, koda rema?"),
        (MASTER, "ha, dunel varo, gamun to helar."),
        (MASTER, "'bo teru malon, dovas kelun, rada me sunor."),
        (REPORTER, "e wela, tas inomi?"),
        (MASTER, "'merun, vado garal, hom belas udar venok."),
        (MASTER, "dalu moru, sem torana."),
        (REPORTER, "'sali, kaptu orun, sali venai."),
    ]
    yield from dialogue(4.0, lines, gain_db=0.7, gap_s=0.22)


def _wind_rises() -> Iterator[Cue]:
    """After the silence: wind, a drum far off, and the narrator close by."""
    yield from _sea(14.0, gain_db=-12.0, lead_s=0.0)
    for index, (at_s, howl_hz) in enumerate(((0.0, 300.0), (3.5, 360.0), (7.0, 420.0), (9.5, 480.0))):
        yield Cue(at_s, "ambience", -21.5 + 2.5 * index, partial(gust, 6.0, howl_hz=howl_hz))
    for bar in range(3):
        yield Cue(8.0 + STORM_BAR_S * bar, "music", -22.0 + 4.0 * bar, partial(storm_bar, bar))
    yield Cue(6.0, "effects", -14.0, partial(thunder, 5.0, crack=0.0, pan=0.0))
    yield from monologue(
        2.0,
        NARRATOR,
        "'e nox, venu dalor asi.",
        "'hark umeri, toru selan, meni gorad sul.",
        gain_db=0.0,
        gap_s=0.6,
    )


def _storm() -> Iterator[Cue]:
    """Everything at once, and far over the goal."""
    yield from _sea(34.0, gain_db=-13.0)
    for index in range(10):
        howl_hz, gain_db = ((420.0, -10.0), (560.0, -5.0), (480.0, -7.0))[index % 3]
        yield Cue(3.3 * index - 1.0, "ambience", gain_db, partial(gust, 6.0, howl_hz=howl_hz))
    for index in range(7):
        yield Cue(4.5 * index - 1.0, "ambience", -16.0, partial(rain, 6.0))
    for index, at_s in enumerate((2.2, 6.4, 10.1, 13.0, 17.7, 21.9, 25.3, 28.8)):
        yield Cue(at_s, "effects", -5.0, partial(breaker, 4.0, pan=(-0.7, 0.6, 0.1)[index % 3]))
    for at_s, crack, pan in ((4.0, 0.4, -0.4), (15.5, 0.44, 0.5), (21.0, 0.575, 0.0), (30.0, 0.0, 0.0)):
        yield Cue(at_s, "effects", 0.0, partial(thunder, 5.0, crack=crack, pan=pan))
    for bar in range(15):
        yield Cue(STORM_BAR_S * bar, "music", -11.5, partial(storm_bar, bar))
    shouts = ("hola, dorun, tara mel gadu.", "vira, vira, halo bordun.", "kata toru, dal em.")
    for at_s in (2.5, 12.0, 23.0):
        yield from monologue(at_s, MASTER_SHOUTING, *shouts, gain_db=2.5, gap_s=0.7)


def _morning_after() -> Iterator[Cue]:
    """Quiet water, chimes, and few words."""
    yield from _sea(34.0, gain_db=-17.5)
    for bar in range(7):
        yield Cue(3.0 + BED_BAR_S * bar, "music", -15.0, partial(chime_bar, bar))
    yield from monologue(
        4.0,
        NARRATOR,
        "'e meri, sela nomu.",
        "dorin vesa lumani.",
        "'halina, to merok asolu ven.",
        "sami rolu, e dani velo sunak.",
        gain_db=-9.0,
        gap_s=2.6,
    )


def _way_home() -> Iterator[Cue]:
    """The closing words over the waltz, then the full band and its last chord."""
    yield from _waltz(0.0, gain_db=-15.0, full=False, bars=WALTZ[:6])
    yield from _waltz(6 * WALTZ_BAR_S, gain_db=-8.0, full=True, bars=(*WALTZ[6:], *WALTZ[8:]))
    yield Cue(24 * WALTZ_BAR_S, "music", -7.0, last_chord)
    lines = ("'merok venai, sano dorelu.", "tavi umaro, e sali.")
    yield from monologue(1.0, NARRATOR, *lines, gain_db=-0.5, gap_s=0.5)


SECTIONS: tuple[Section, ...] = (
    Section("the quay at dusk", 16.0, tuple(_quay_at_dusk())),
    Section("signature", 20.0, tuple(_signature())),
    Section("welcome", 28.0, tuple(_welcome())),
    Section("the harbour master", 54.0, tuple(_harbour_master())),
    Section("a held breath", 6.0, ()),
    Section("the wind rises", 14.0, tuple(_wind_rises())),
    Section("storm", 34.0, tuple(_storm())),
    Section("the morning after", 34.0, tuple(_morning_after())),
    Section("the way home", 34.0, tuple(_way_home())),
)

DURATION_S = sum(section.seconds for section in SECTIONS)


def cue_sheet() -> list[Cue]:
    """All cues in the order of the score, at their time in the programme."""
    sheet: list[Cue] = []
    start_s = 0.0
    for section in SECTIONS:
        sheet += [replace(cue, at_s=start_s + cue.at_s) for cue in section.cues]
        start_s += section.seconds
    return sheet
