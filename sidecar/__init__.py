"""Loudness Sidecar: the engine. The screen is the package ``tui``."""
