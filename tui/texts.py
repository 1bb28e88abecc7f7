"""The sentences of the screen in one place, to be reworded or translated; keys have theirs in ``keys.py``.

Braces are filled in where the sentence is shown. Single words that a layout makes room for (the labels of
scales, alerts and columns) are beside that layout, in ``drawing/``.
"""

from __future__ import annotations

from sidecar.model.readings import Limit

# --- what a key has done ------------------------------------------------------------------------

COPIED = "Figures sent to the clipboard."
COPIED_SELECTION = "Selection sent to the clipboard."
SAVED = "Saved {file}."
NOT_SAVED = "{file} was not saved: {error}. Start the sidecar in a folder that you may write to."

# --- the move -----------------------------------------------------------------------------------

LOUDER = "louder: turn monitors down first"
LOUDER_SHORT = "monitors down"
HELD: dict[Limit, str] = {
    "ceiling": "△ true-peak ceiling limits it",
    "step": "limited to one safe step",
    "range": "the fader is at its end",
}
GETTING_READY = "preparing"
READY = "the meter runs and waits for sound"
NO_AUDIO_YET = "no audio arrives yet"
ALL_THE_WAY_DOWN = "fader closed"
PEAKS = "peaks"
"""What the run's own reason has in it where peaks limit the move."""
FOR_PEAKS = "△ down because of peaks"
FROM_TOP = "from the top: {move}"
NEXT_PASS = "next pass: {move}"
NO_CHANGE = "no change"
FIRST_STEP = "first step, rest later"
FINISH_AND_LAND = "finish and land at {level}"
OR_START_AGAIN = "or start again with the fader at {fader} dB"
OR_START_AGAIN_SHORT = "or start again, fader {fader} dB"
THIS_PASS = "this pass"
WHOLE_PASS = "whole pass"
FIRST_OF = "first of {count}"
SET_FOR_NEXT = ("set the fader to {fader} dB for the next pass", "next pass: fader {fader} dB")
MOVE_FOR_NEXT = (
    "{follow} moves the fader to {fader} dB for the next pass",
    "{follow}: next pass, fader {fader} dB",
)
PLAY_AGAIN = ("{follow} plays it again with the fader at {fader} dB", "{follow}: again, fader {fader} dB")
"""Each from its longest form to its shortest."""
MONITORS_FIRST = ", monitors down first"
NEXT_LOOK = "next look in {seconds} s"
NEXT_LOOK_SHORT = "look {seconds} s"
WIDENED = "moves so far widened the range by {range_lu} LU"
WIDENED_SHORT = "range +{range_lu} LU"

# --- automatic moves and cautions ---------------------------------------------------------------

ARMED = "▣ ARMED"
ARM_WAITING = "▢ waiting"
NOT_ARMED = "▢ not armed"
ARMED_HOW = (
    "Moves the fader up and down. Keep a hand on it: touching it or {arm} disarms.",
    "Moves up too. Keep a hand on the fader; {arm} disarms.",
    "Moves up too; {arm} disarms.",
)
WAITING_HOW = (
    "Touch the fader once to arm: the workstation then says where it is. {arm} cancels.",
    "Touch the fader once to arm; {arm} cancels.",
)
"""Each from its longest form to its shortest."""
WAITING_BEGINS = "Not armed yet"
"""What the run's own sentence begins with while it waits for the fader's position."""
CAUTION_BEGINS = "Caution"
"""What the run's own caution begins with."""
LIGHT = "✶ light runs: flashing can trigger seizures"
LIGHT_SHORT = "✶ light: seizure risk"
LIGHT_SHORTEST = "✶ light"

# --- refusals and faults ------------------------------------------------------------------------

RAISE_BY_HAND = "the fader is at −∞ dB: raise it yourself first"
NO_NEWS = "no answer from the run: {error}"
CANNOT_BE_DRAWN = "{panel} cannot be drawn: {error}"

# --- around the instrument ----------------------------------------------------------------------

PASS_OF = "the pass of "
"""What a title of the run begins with after a reset."""
FINDING_ITS_PLACE = ": finding its place…"
FITS = " fits ({offset} s in, {error} dB)"
DOES_NOT_FIT = " does not fit: forecast from this pass only"
NO_ALERTS = " ◇ no alerts"
OSC_OFF = "OSC off"
NOTHING_MEASURED = "nothing measured yet"

# --- dialogs ------------------------------------------------------------------------------------

BACK = "Back (up and down scroll)"

ARM_QUESTION = "Allow automatic moves of the master fader, up and down?"
ARM_LIMITS = "up by {step_db} dB a step, {total_db} dB in all, {rate_db_s} dB/s."
ARM_ELSEWHERE = "Has someone in that room agreed? Someone must have a hand on the fader there."
ARM_CAUTION_WORD = "Caution: "
ARM_CAUTION = (
    "sudden level can hurt ears and loudspeakers. Turn the monitors down and take headphones off. Keep a hand"
    " on the fader: touching it disarms."
)
ARM_KEYS = (
    "y allows them: {follow} moves now; automatic moves start after 30 s.\n{arm} disarms.      Esc cancels."
)

LEAVE_QUESTION = (
    "End the measurement after {measured} of programme?\n\n"
    "This screen runs it; the record keeps the pass.\n\n"
    "y or enter: end it      n or escape: keep measuring"
)

RESET_QUESTION = (
    "Reset after {measured} of programme?\n\n"
    "Integrated loudness, loudness range, maxima and peaks start again together.\n\n"
    "y or enter: reset      n or escape: keep measuring"
)

LABEL_HOW = "Type a label, then enter. The marker is set at that moment.\n"

GOALS_HOW = "enter chooses, escape keeps the present goal"

COMMANDS_HOW = "type part of a name; enter runs it, escape closes"
COMMANDS_GOAL = "Goal: {title}"

NO_RIDES = "No rides yet."
RIDE_UP = "▲ is {caution}\n"

BALANCE_HOW = "A rough balance from silence: close all faders, then bring them up one by one.\n"
BALANCE_CAUTION = "Turn the monitors down first. Bring each fader up slowly.\n"
BALANCE_LISTENING = "\nListening: each stem must play for some seconds first."

THIS_PASS = "this pass"
NO_PASSES = "No earlier pass is on record."
LU_FROM = "LU from {goal}"
PASSES_HOW = "Integrated in {unit}, peak in dBTP. Each pass differs from the one below it."

NOTHING_HAPPENED = "Nothing has happened yet."
AND_BEFORE = "and {count} before"
NEVER_OVER = "Short-term was never over {limit}."
WAS_OVER = "Short-term was over {limit} {times}, {seconds} s in all."
ONCE = "once"
TIMES = "{count} times"
UP_TO = "short-term up to {level}"
UP_TO_SHORT = "up to {level}"
SENDING = "Sending"

LOOKS_HOW = "Can you tell these apart? Nothing here blinks."
LOOKS_SIDES = "A value against the goal"
LOOKS_ALERTS = "Alerts: off, on, and latched until acknowledged"
LOOKS_HISTORY = "History and scales"
LOOKS_EVENTS = "Events"
LOOKS_RUN = "The run, and automatic moves"

# --- the help -----------------------------------------------------------------------------------

HELP_SEARCH = "Search the help"
HELP_NOTHING = "Nothing in the help has these words."

MEASURES = (
    ("The move", "which way, and how many dB, to move the master fader"),
    ("Lands at", "where the programme ends if you make the move"),
    ("Likely", "the range it lands in nine times out of ten"),
    ("△ ceiling", "beside a move: the true-peak ceiling keeps it small"),
    ("Safe step", "the largest move that is advised at once"),
    ("Stems", "each stem's fader, its move, its limit, its true peak"),
    ("Balance", "a rough balance from silence: the anchor first, then the rest"),
    ("Scales", "offsets from the goal: left is under, right is over"),
    ("Pass zone", "the shaded part of a scale: what lies in it passes"),
    ("Landing", "where this pass, or the next one, ends after the move"),
    ("Earlier pass", "a pass heard before; where it fits, the forecast uses it"),
    ("Integrated", "loudness since the reset, gated (ITU-R BS.1770-5 Annex 1)"),
    ("Short-term", "loudness of the last 3 s, not gated (Tech 3341 §2.2)"),
    ("Momentary", "loudness of the last 0.4 s, not gated (Tech 3341 §2.2)"),
    ("Comfort", "their zone starts 5 LU under the goal (Tech 3343 §3.5.2)"),
    ("True peak", "highest level between samples so far (BS.1770-5 Annex 2)"),
    ("Headroom", "dB between the highest true peak and the ceiling"),
    ("Live level", "beside the peak marks: each channel over the last 0.4 s"),
    ("Corr.", "correlation of the first two channels over the last second"),
    ("╳ MONO", "the mono sum cancels: what it loses over 3 s"),
    ("Range", "loudness range, soft to loud passages (EBU Tech 3342)"),
    ("Settling", "the range moves much in its first 60 s (Tech 3341 §2.4)"),
    ("Guide", "a wider range never fails a programme (Tech 3343 §3.3)"),
    ("PLR", "peak to loudness ratio: true peak minus integrated loudness"),
    ("PSR", "peak to short-term ratio: recent true peak minus short-term"),
    ("Dialogue", "its loudness: of its stem, as detected, or as marked by hand"),
    ("▁ dialogue", "along the floor of the history: where there is dialogue"),
    ("LDR", "integrated less dialogue loudness (R 128 s4, Tech 3343 §9.4)"),
    ("History", "short-term over time; bright line integrated, forecast ahead of now"),
    ("Columns", "solid up to the lowest short-term, softer up to the highest"),
    ("Cursor", "a place in the history; the line below has its levels"),
    ("Events", '↕ fader, ◆ marker, " dialogue, △ ▷ alert, ╳ gap, ┼ goal, ‖ pause'),
    ("Rides", "fader moves there and back that keep the goal's limits"),
    ("△ ceiling", "alert: true peak over the ceiling; latched until you acknowledge"),
    ("▷ over", "alert: integrated over the highest value that passes"),
    ("▲ hot", "alert: short-term over the goal's hot line"),
    ("╳ lost", "alert: no audio arrives"),
    ("○ silent", "alert: audio arrives and is silent"),
    ("▣ ARMED", "the sidecar may move the workstation's master fader"),
    ("▢ not armed", "it may not; touch, lost audio or sleep also disarm"),
    ("LU", "offset from the goal (EBU Tech 3341 §2.7)"),
    ("LUFS", "absolute loudness (EBU Tech 3341 §2.7)"),
    ("EBU Mode", "a goal of −23 LUFS only (EBU Tech 3341 §2)"),
    ("Caution", "raised gain can hurt ears and loudspeakers: turn monitors down"),
    ("Your ears", "this measures a signal, no sound pressure; local rules come first"),
    ("Delivery", "the receiver's own specification comes before this screen"),
)
