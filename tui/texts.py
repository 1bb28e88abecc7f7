"""The sentences of the screen in one place, to be reworded or translated; keys have theirs in ``keys.py``.

Braces are filled in where the sentence is shown. Single words that a layout makes room for (the labels of
scales, alerts and columns) stand beside that layout, in ``drawing/``.
"""

from __future__ import annotations

from sidecar.model.readings import Limit

# --- the move -----------------------------------------------------------------------------------

LOUDER = "louder: mind ears and monitors"
LOUDER_SHORT = "mind ears"
HELD: dict[Limit, str] = {
    "ceiling": "△ held by the true-peak ceiling",
    "step": "held to one safe step",
    "range": "the fader has no more travel",
}
GETTING_READY = "getting ready to listen"
READY = "the meter runs and waits for sound"
NO_AUDIO_YET = "no audio is arriving yet"
ALL_THE_WAY_DOWN = "fader all the way down"

# --- refusals and faults ------------------------------------------------------------------------

RAISE_BY_HAND = "the fader stands at −∞ dB: raise it by hand first"
NO_NEWS = "no news from the run: {error}"
CANNOT_BE_DRAWN = "{panel} cannot be drawn: {error}"

# --- around the instrument ----------------------------------------------------------------------

FINDING_ITS_PLACE = ": finding its place…"
FITS = " fits ({offset} s in, {error} dB)"
DOES_NOT_FIT = " does not fit: forecast from this pass only"
NO_ALERTS = " ◇ no alerts"
WITHIN_GOAL = " ✓ passes"
BREAKS_GOAL = " ✗ {limits}"
OSC_NOWHERE = "OSC goes nowhere"
NOTHING_MEASURED = "nothing measured yet"

# --- dialogs ------------------------------------------------------------------------------------

BACK = "Back (up and down scroll)"

ARM_QUESTION = "Let the sidecar move this fader, upward too?  {surface}\n\n"
ARM_CAUTION_WORD = "Caution: "
ARM_CAUTION = (
    "Sudden level can hurt ears and loudspeakers. Turn the monitors down, take headphones off, and keep a"
    " hand on the fader: touching it takes it back.\n\n"
    "It moves when you follow (f), and unasked from half a minute on; x takes the leave back at once.\n\n"
)
ARM_KEYS = "y: arm      n or escape: leave it"

RESET_QUESTION = (
    "Reset after {measured} of programme?\n\n"
    "Integrated loudness, loudness range, maxima and peaks begin anew together.\n\n"
    "y or enter: reset      n or escape: keep measuring"
)

LABEL_HOW = "Label, then enter; the mark is set at that moment.\n"

GOALS_HOW = "enter chooses, escape leaves it as it is"

COMMANDS_HOW = "part of a name, or of what it does; enter runs it, escape leaves"
COMMANDS_GOAL = "Goal: {title}"

NO_RIDES = "No rides yet."
RIDE_UP = "▲ is {caution}\n"

BALANCE_HOW = "A rough balance from silence: close all faders, then bring them up one by one.\n"
BALANCE_CAUTION = "Turn the monitors down first, and bring each one up slowly.\n"
BALANCE_LISTENING = "\nListening: every stem must play for some seconds first."

NOTHING_HAPPENED = "Nothing has happened yet."
AND_BEFORE = "and {count} before"
NEVER_OVER = "Short-term was never over {limit}."
WAS_OVER = "Short-term was over {limit} {times}, {seconds} s in all."
ONCE = "once"
TIMES = "{count} times"
UP_TO = "short-term up to {level}"
SENDING = "Sending"

LOOKS_HOW = "Can you tell these apart? Nothing here moves or blinks."
LOOKS_STANDS = "Where a value stands"
LOOKS_ALERTS = "Alerts: off, on, and latched until acknowledged"
LOOKS_HISTORY = "History and scales"
LOOKS_EVENTS = "Events"
LOOKS_RUN = "The run, and the hand"

# --- the help -----------------------------------------------------------------------------------

MEASURES = (
    ("The move", "which way and how many dB the master fader should go, where the programme lands"
     " if it does, and the band it lands in nine times out of ten."),
    ("△ held by", "the true-peak ceiling, the limit of one step or the fader's end keeps the move small."),
    ("Stems", "each fader now, its move, what limits it (△peak the ceiling, step one safe step, end the"
     " fader's travel) and its true peak; the largest move is the one shown large, and all of them together"
     " land the mix there."),
    ("Balance", "a rough balance of the stems from silence: the anchor first, then the rest by energy, and"
     " where the mix lands with each."),
    ("Scales", "offsets from the goal: the middle is the goal, left is under, right is over, the shaded gate"
     " passes; the scale is stretched around the goal so that tenths are seen."),
    ("Landing", "where this pass, or else the next one, ends if the move is made, with its 90 % band."),
    ("Earlier pass", "where it fits what plays, the forecast is made from it."),
    ("Integrated", "loudness of the programme since the reset; silence and quiet passages are gated out"
     " (ITU-R BS.1770-5 Annex 1)."),
    ("Short-term", "loudness of the last 3 s, not gated (EBU Tech 3341 §2.2); its gate runs from 5 LU under"
     " the goal, where listeners' comfort ends (Tech 3343 §3.5.2), to the goal's hot line."),
    ("Momentary", "loudness of the last 0.4 s, not gated (EBU Tech 3341 §2.2); the same gate, up to the"
     " goal's own limit if it has one."),
    ("True peak", "the highest level between the samples so far, a mark for each channel; here the middle is"
     " the ceiling, and the number is what is left below it (ITU-R BS.1770-5 Annex 2)."),
    ("Range", "loudness range: how far soft and loud passages lie apart (EBU Tech 3342); settling in its"
     " first 60 s (Tech 3341 §2.4), and guidance only, never a reason to fail (Tech 3343 §3.3)."),
    ("History", "short-term over time: solid up to the lowest of each column, softer up to the highest; the"
     " bright line is integrated, ahead of now it is the forecast."),
    ("Cursor", "left and right look back along the history: the line below says what was read there. , and ."
     " go to events and to where short-term went over its line; escape follows now again."),
    ("Marks", "↕ fader, ◆ mark, △ ▷ alert, ╳ gap in the audio, ┼ new goal, ‖ pause."),
    ("Rides", "the fewest places where the fader must leave its line so that the history so far keeps the"
     " goal's limits: ▼ lower, ▲ higher, over the history and in a list; ramps are the time there and back."),
    ("Alerts", "△ ceiling: true peak; ▷ over: too loud for the goal; ▲ hot: short-term above the hot line;"
     " ╳ lost: audio is missing; ○ silent: nothing is heard. Ceiling stays until acknowledged."),
    ("▣ ARMED", "the sidecar may move the workstation's fader: when you follow, and unasked from half a"
     " minute on; ▢ not armed: it may not. A hand on the fader, lost audio, a sleep of the machine or a fader"
     " that does not answer takes the leave back."),
    ("? question", "an unreported move, guessed from the sound; it counts only when you say yes."),
    ("Units", "LU is the offset from the goal, LUFS the absolute level (EBU Tech 3341 §2.7); a goal other"
     " than −23 LUFS is not EBU Mode (§2)."),
    ("Care", "raising gain can hurt ears and loudspeakers: turn monitors down first. This measures a signal,"
     " not sound pressure; the receiver's own specification and local rules come first."),
)  # fmt: skip
