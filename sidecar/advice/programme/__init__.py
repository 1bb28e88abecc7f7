"""Advice on one master fader: 100 ms energies in, ``Move`` out. Pure."""
