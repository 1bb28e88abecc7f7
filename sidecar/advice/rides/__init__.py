"""Fader rides: short moves that keep the limits of a goal. Pure."""
