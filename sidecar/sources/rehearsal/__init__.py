"""The rehearsal: a built-in programme with a simulated fader, by which the whole job can be seen."""

from sidecar.sources.rehearsal.source import RehearsalSource

__all__ = ["RehearsalSource"]
