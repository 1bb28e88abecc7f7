"""The client side of a run's OSC: snapshots and commands of a screen on another machine."""
