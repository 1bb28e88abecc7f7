"""Advice on one programme fader: 100 ms energies in, ``Move`` out. Pure."""
