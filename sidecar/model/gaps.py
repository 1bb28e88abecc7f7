"""Sentences about gaps in the audio."""

from __future__ import annotations


def in_course(lost_s: float, slept_s: float, stopped_s: float = 0.0) -> str:
    """Returns the text of a gap as an event of the timeline."""
    lost = f"{lost_s:.2f} s lost" if lost_s else ""
    return "; ".join(part for part in (*_standstills(slept_s, stopped_s), lost) if part)


def in_a_sentence(lost_s: float, slept_s: float, stopped_s: float = 0.0) -> str:
    """Returns the notice about a gap as a sentence."""
    lost = f"{lost_s:.2f} s of audio were lost" if lost_s else ""
    said = ", and ".join(part for part in (*_standstills(slept_s, stopped_s), lost) if part)
    return f"{said[:1].upper()}{said[1:]}. The measurement continues without {'them' if lost else 'it'}."


def _standstills(slept_s: float, stopped_s: float) -> tuple[str, str]:
    return (
        f"the machine slept for {length(slept_s)}" if slept_s else "",
        f"the sidecar was stopped for {length(stopped_s)}" if stopped_s else "",
    )


def length(seconds: float) -> str:
    """Returns a length of time in words: 4.2 s, 12 min 3 s, 8 h 12 min."""
    if seconds < 60.0:
        return f"{seconds:.1f} s"
    minutes, rest_s = divmod(round(seconds), 60)
    if seconds < 3599.5:
        return f"{minutes} min {rest_s} s"
    return f"{minutes // 60} h {minutes % 60} min"
