"""``sidecar rehearse``: the whole job on the built-in programme."""

from __future__ import annotations

import argparse
import time

from sidecar.cli.run.build import run_session
from sidecar.cli.run.fader_link import rehearsed
from sidecar.cli.run.stems import mix_of
from sidecar.errors import SettingsError
from sidecar.run.stem_faders import Mix
from sidecar.sources.rehearsal import RehearsalSource

_FASTEST = 100.0


def run(options: argparse.Namespace) -> int:
    """Runs the rehearsal to its end, or until the person quits; again where that is asked for."""
    if options.apart:
        options.stems = ",".join(RehearsalSource.stems)
    mix = mix_of(options)
    times = _times(options.pace)
    source = _source(options.pace, times, mix)
    while (fader_db := _play(source, options, mix, times)) is not None:
        source = _source(options.pace, times, mix, before=source)
        source.place_fader(fader_db)
        options.resume = False
        if not options.no_record and options.earlier is None:
            options.earlier = "last"
    return 0


def _play(
    source: RehearsalSource, options: argparse.Namespace, mix: Mix | None, times: float
) -> float | None:
    """Returns the position of the master fader to rehearse again from; None where that is not wanted."""
    return run_session(
        source,
        options,
        layout=("stereo", "assumed"),
        mix=mix,
        reach=rehearsed(options, source, times),
        kind="rehearsal",
    )


def _source(
    pace: str, times: float, mix: Mix | None, before: RehearsalSource | None = None
) -> RehearsalSource:
    if pace == "fast":
        return RehearsalSource(pace="fast", apart=mix is not None, before=before)
    return RehearsalSource(
        clock=lambda: time.monotonic() * times,
        wait=lambda ahead_s: time.sleep(ahead_s / times),
        apart=mix is not None,
        before=before,
    )


def _times(pace: str) -> float:
    """How many times faster than real it runs; where it does not wait at all, 1."""
    if pace in ("real", "fast"):
        return 1.0
    try:
        times = float(pace)
    except ValueError:
        times = 0.0
    if not 1.0 <= times <= _FASTEST:
        raise SettingsError(
            f"--pace: give real, fast or how many times faster, 1 to {_FASTEST:g}; not '{pace}'."
        )
    return times
