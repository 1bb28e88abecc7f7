"""The stems and the dialogue that a person names on the command line."""

from __future__ import annotations

import argparse

from sidecar.errors import SettingsError
from sidecar.run.stem_faders import Mix

DETECT = "detect"
"""What ``--dialogue`` takes in the place of a stem's name, for automatic detection in the mix."""
_LDR_LU = (-20.0, 40.0)
_UNDER_LU = (0.0, 40.0)


def mix_of(options: argparse.Namespace) -> Mix | None:
    """Returns the stems of a run; None where only the mix is measured. Raises SettingsError for options that
    contradict each other."""
    names = _names(options.stems)
    dialogue = _dialogue_stem(options, names)
    if options.stems is None:
        if options.anchor or options.keep or options.under is not None:
            raise SettingsError(
                "--anchor, --keep and --under are for stems: also give live --stems or rehearse --apart."
            )
        return None
    if options.under is not None and options.anchor is None:
        raise SettingsError("--under is relative to the --anchor: give that stem too.")
    _check_range("--under", options.under, _UNDER_LU)
    anchor = options.anchor if options.ldr is None else dialogue
    return Mix(names, anchor, _names(options.keep), options.under, dialogue, options.ldr)


def detects_dialogue(options: argparse.Namespace) -> bool:
    """Whether dialogue is to be found in the mix."""
    return bool(options.dialogue == DETECT)


def _dialogue_stem(options: argparse.Namespace, names: tuple[str, ...]) -> str | None:
    """Returns the stem that is the dialogue; None without one."""
    stem: str | None = None if detects_dialogue(options) else options.dialogue
    if stem is not None and not names:
        raise SettingsError(
            f"--dialogue {stem} names a stem: also give live --stems or rehearse --apart. "
            f"'--dialogue {DETECT}' finds speech in the mix."
        )
    if detects_dialogue(options) and DETECT in names:
        raise SettingsError(
            f"--dialogue {DETECT} asks for automatic detection in the mix, and a stem has that name. "
            "Give the stem another name."
        )
    if stem is not None and stem not in names:
        raise SettingsError(f"There is no stem {stem}. Name one of: {', '.join(names)}.")
    _check_ldr(options, stem)
    return stem


def _check_ldr(options: argparse.Namespace, stem: str | None) -> None:
    if options.ldr is None:
        return
    if stem is None:
        raise SettingsError("--ldr moves the stems around the dialogue: name its stem with --dialogue.")
    if options.under is not None:
        raise SettingsError("--ldr and --under are two balances: give one of them.")
    if options.anchor not in {None, stem}:
        raise SettingsError(
            f"--ldr holds the dialogue, {stem}: leave --anchor out. --keep holds other stems."
        )
    _check_range("--ldr", options.ldr, _LDR_LU)


def _check_range(option: str, value: float | None, bounds: tuple[float, float]) -> None:
    low, high = bounds
    if value is not None and not low <= value <= high:
        raise SettingsError(f"{option}: give {low:g} to {high:g} LU, not {value:g}.")


def _names(text: str | None) -> tuple[str, ...]:
    return tuple(name.strip() for name in text.split(",")) if text else ()
