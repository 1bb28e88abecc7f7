"""The stems that a person names on the command line."""

from __future__ import annotations

import argparse

from sidecar.errors import SettingsError
from sidecar.run.stem_faders import Mix


def mix_of(options: argparse.Namespace) -> Mix | None:
    """Returns the stems of a run; None where only the mix is measured. Raises SettingsError for options that
    contradict each other."""
    if options.stems is None:
        if options.anchor or options.keep or options.under is not None:
            raise SettingsError(
                "--anchor, --keep and --under are for stems: also give live --stems or rehearse --apart."
            )
        return None
    if options.under is not None and options.anchor is None:
        raise SettingsError("--under is relative to the --anchor: give that stem too.")
    if options.under is not None and not 0.0 <= options.under <= 40.0:
        raise SettingsError(f"--under: give 0 to 40 LU, not {options.under:g}.")
    return Mix(_names(options.stems), options.anchor, _names(options.keep or ""), options.under)


def _names(text: str) -> tuple[str, ...]:
    return tuple(name.strip() for name in text.split(",")) if text else ()
