"""What a fader is, where it was, and when it may be moved. Pure: time is an argument."""
