"""The advice of a run whose stems arrive apart."""

import numpy as np
import pytest

from sidecar.meter.meter import Blocks
from sidecar.meter.stems import StemBlocks
from sidecar.model.readings import Move
from sidecar.run.advising import AdviceSchedule
from sidecar.run.metering import Taken
from sidecar.run.stem_faders import Mix, StemFaders
from sidecar.settings.goals import load_goal
from sidecar.sources import Block

NAMES = ("voice", "band")
VOICE, BAND = (10 ** ((lufs + 0.691) / 10) for lufs in (-20.0, -40.0))


class Desk:
    """A mix of steady stems, its faders, and the advice; time is the programme's."""

    def __init__(self, **mix):
        self.faders_db = np.zeros(2)
        self.advice = AdviceSchedule(
            load_goal("r128"), None, None, StemFaders(Mix(NAMES, **mix), load_goal("r128"))
        )
        self.now_s = 0.0

    def play(self, seconds):
        energies = np.tile([VOICE, BAND] * 10 ** (self.faders_db / 10), (round(seconds * 10), 1))
        mix, silent = energies.sum(axis=1), np.full(len(energies), -np.inf)
        peaks = np.full(len(energies), -20.0)
        blocks = Blocks(mix, mix[:, None], peaks, peaks[:, None], silent, silent)
        stems = StemBlocks(energies[:, :, None] * np.eye(2), np.tile(peaks[:, None], 2))
        self.advice.push_blocks(Taken(blocks, stems), Block(np.zeros((0, 4), np.float32)))
        self.now_s += seconds
        self.advice.update_advice(self.now_s, at_rest=False)

    def move(self, stem, change_db):
        place = NAMES.index(stem)
        self.faders_db[place] += change_db
        self.advice.stem_faders.report_position(stem, self.faders_db[place])

    @property
    def moves(self):
        return {stem.name: stem.move.gain_db for stem in self.advice.stems}


@pytest.fixture
def desk():
    made = Desk()
    for stem in NAMES:
        made.move(stem, 0.0)
    made.play(40.0)
    return made


def test_a_stem_that_was_moved_as_advised_is_not_asked_for_again(desk):
    """The mix is 3 dB too loud, and the rest of a pass of no known length may be softer: both come down by
    what is likely to be needed."""
    assert desk.moves == {"voice": -2.5, "band": -2.5}

    desk.move("voice", -2.5)
    desk.move("band", -2.5)
    desk.play(0.1)
    desk.play(0.6)

    assert desk.moves == {"voice": 0.0, "band": 0.0}
    assert desk.advice.advisor.landing == pytest.approx(-20.0, abs=0.1)
    assert desk.advice.advisor.next_pass().gain_db == pytest.approx(-0.5, abs=0.1)
    assert desk.advice.advisor.fader_db == 0.0


def test_what_was_metered_stays_metered_when_a_stem_was_moved(desk):
    """Only the forecast sounds as the faders now are: the energies of the past are not touched."""
    before = desk.advice.advisor.metered[0].copy()
    desk.move("voice", -6.0)
    desk.play(0.1)
    desk.play(0.6)

    assert np.array_equal(before, desk.advice.advisor.metered[0][: len(before)])
    left_db = desk.advice.advisor.next_pass().gain_db
    assert left_db == pytest.approx(2.8, abs=0.05)  # voice at −26, band at −40


def test_the_next_pass_is_expected_with_the_stem_faders_as_they_were_left(desk):
    desk.move("voice", -6.0)
    desk.play(20.0)
    desk.play(1.0)

    earlier = desk.advice.last_pass("the mix")
    assert earlier.energies == pytest.approx(np.full(610, VOICE / 10**0.6 + BAND), rel=1e-3)


def test_at_the_end_the_stems_are_advised_on_for_a_whole_pass(desk):
    """What was asked for in the pass is no advice on the next one."""
    desk.advice.advisor.next_pass = lambda: Move(-2.0, -23.0, reason="Down 2.0 dB lands a whole pass.")
    desk.advice.end_pass()

    assert desk.advice.advice.state == "ended"
    assert desk.moves == {"voice": -2.0, "band": 0.0}
