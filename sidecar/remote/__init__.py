"""The other end of a run's OSC: what a screen elsewhere is given, and how it asks."""
