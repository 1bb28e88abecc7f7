"""Loudness Sidecar as a library: files and frames measured, held against a goal, and advised on.

>>> import sidecar
>>> sidecar.measure("mix.wav").reading.integrated  # doctest: +SKIP
-22.8

What ``__all__`` names is public; everything else may change with any version. A name is loaded when it is
first used, so that ``import sidecar`` itself costs next to nothing. Levels are LUFS, dBTP or dBFS, as names
and docstrings say, and ``-inf`` in silence; samples have the full scale 1.0. What can go wrong for a person
is a :class:`SidecarError`. The screen is the package ``tui``.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sidecar.advice.faders.tapers import FaderLimits
    from sidecar.advice.programme.earlier_pass import EarlierFit
    from sidecar.advice.programme.landing import LandingAdvisor
    from sidecar.advice.stems.advisor import StemAdvisor
    from sidecar.advice.stems.build_up import BuildStep
    from sidecar.delivery.judge.checking import Checked, check
    from sidecar.delivery.judge.findings import Finding, Span
    from sidecar.delivery.judge.remedy import Remedy
    from sidecar.delivery.judge.verdict import Verdict
    from sidecar.delivery.measure.coding import Coded
    from sidecar.delivery.measure.dialogue import FileDialogue
    from sidecar.delivery.measure.facts import Facts, Gap, Held, Silence
    from sidecar.delivery.measure.part import Part, Scope
    from sidecar.delivery.measure.whole_file import BlockSeries, Measured, measure
    from sidecar.errors import (
        DeviceLost,
        MissingPackage,
        NetworkError,
        OutputError,
        RecordError,
        SettingsError,
        SidecarError,
        SignalError,
        SourceError,
    )
    from sidecar.meter.layouts import Layout
    from sidecar.meter.meter import Blocks, Meter
    from sidecar.meter.stems import StemBlocks, StemMeter
    from sidecar.model.dialogue import DialogueLoudness
    from sidecar.model.readings import Move, Reading
    from sidecar.model.timecode import Clock
    from sidecar.settings.delivery_rules import DeliveryRules, SilenceLimits
    from sidecar.settings.goals import Goal, all_goals, load_goal
    from sidecar.sources.remarks import Remark

    __version__: str

__all__ = [
    "BlockSeries",
    "Blocks",
    "BuildStep",
    "Checked",
    "Clock",
    "Coded",
    "DeliveryRules",
    "DeviceLost",
    "DialogueLoudness",
    "EarlierFit",
    "Facts",
    "FaderLimits",
    "FileDialogue",
    "Finding",
    "Gap",
    "Goal",
    "Held",
    "LandingAdvisor",
    "Layout",
    "Measured",
    "Meter",
    "MissingPackage",
    "Move",
    "NetworkError",
    "OutputError",
    "Part",
    "Reading",
    "RecordError",
    "Remark",
    "Remedy",
    "Scope",
    "SettingsError",
    "SidecarError",
    "SignalError",
    "Silence",
    "SilenceLimits",
    "SourceError",
    "Span",
    "StemAdvisor",
    "StemBlocks",
    "StemMeter",
    "Verdict",
    "__version__",
    "all_goals",
    "check",
    "load_goal",
    "measure",
]

_MODULES = {
    "sidecar.advice.faders.tapers": ("FaderLimits",),
    "sidecar.advice.programme.earlier_pass": ("EarlierFit",),
    "sidecar.advice.programme.landing": ("LandingAdvisor",),
    "sidecar.advice.stems.advisor": ("StemAdvisor",),
    "sidecar.advice.stems.build_up": ("BuildStep",),
    "sidecar.delivery.judge.checking": ("Checked", "check"),
    "sidecar.delivery.judge.findings": ("Finding", "Span"),
    "sidecar.delivery.judge.remedy": ("Remedy",),
    "sidecar.delivery.judge.verdict": ("Verdict",),
    "sidecar.delivery.measure.coding": ("Coded",),
    "sidecar.delivery.measure.dialogue": ("FileDialogue",),
    "sidecar.delivery.measure.facts": ("Facts", "Gap", "Held", "Silence"),
    "sidecar.delivery.measure.part": ("Part", "Scope"),
    "sidecar.delivery.measure.whole_file": ("BlockSeries", "Measured", "measure"),
    "sidecar.errors": (
        "DeviceLost",
        "MissingPackage",
        "NetworkError",
        "OutputError",
        "RecordError",
        "SettingsError",
        "SidecarError",
        "SignalError",
        "SourceError",
    ),
    "sidecar.meter.layouts": ("Layout",),
    "sidecar.meter.meter": ("Blocks", "Meter"),
    "sidecar.meter.stems": ("StemBlocks", "StemMeter"),
    "sidecar.model.dialogue": ("DialogueLoudness",),
    "sidecar.model.readings": ("Move", "Reading"),
    "sidecar.model.timecode": ("Clock",),
    "sidecar.settings.delivery_rules": ("DeliveryRules", "SilenceLimits"),
    "sidecar.settings.goals": ("Goal", "all_goals", "load_goal"),
    "sidecar.sources.remarks": ("Remark",),
}
_MODULE_OF = {name: module for module, names in _MODULES.items() for name in names}

if not TYPE_CHECKING:  # seen by a type checker, it would make every misspelt name one of the package

    def __getattr__(name: str) -> object:
        """Loads a public name when it is first used (PEP 562)."""
        if name == "__version__":
            value = import_module("sidecar.version").program_version()
        elif name in _MODULE_OF:
            value = getattr(import_module(_MODULE_OF[name]), name)
        else:
            raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
        globals()[name] = value
        return value

    def __dir__() -> list[str]:
        return sorted({*globals(), *__all__})
