"""The one move that the screen is about, as everything else outside the screen chooses it too."""

from sidecar.hero import Chosen, Scope, chosen, first_stem

__all__ = ["Chosen", "Scope", "chosen", "first_stem"]
