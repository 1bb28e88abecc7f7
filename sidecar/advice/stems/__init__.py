"""Advice on several faders whose stems arrive apart. Pure."""
