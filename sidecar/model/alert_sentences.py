"""What an alert says: what is wrong, with the value and the limit."""

from __future__ import annotations

from collections.abc import Callable

from sidecar.model.readings import Alert, AlertName
from sidecar.model.units import figure

_SENTENCES: dict[AlertName, str] = {
    "ceiling": "true peak too high: {value} dBTP, limit {limit}",
    "over": "too loud: integrated {value}, limit {limit}",
    "hot": "loud passage: short-term {value}, limit {limit}",
    "lost": "no audio: {value} s",
    "silent": "silence: {value} s",
}
_OF_LOUDNESS = ("over", "hot")
_LATCHED = "{sentence} (not acknowledged)"


def alert_sentence(alert: Alert, loudness: Callable[[float], str] = figure) -> str:
    """Returns what *alert* says, such as ``too loud: integrated −22.0, limit −22.8``; empty if it is off.

    loudness: writes a loudness, given in LUFS.
    """
    if alert.state == "off":
        return ""
    write = loudness if alert.name in _OF_LOUDNESS else figure
    sentence = _SENTENCES[alert.name].format(value=write(alert.value), limit=write(alert.limit))
    return _LATCHED.format(sentence=sentence) if alert.state == "latched" else sentence
