"""What a fader is, where it stood, and when it may be moved. Pure: time is an argument."""
