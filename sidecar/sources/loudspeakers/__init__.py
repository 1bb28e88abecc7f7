"""Which loudspeaker each channel of a sound file feeds, as far as the file or its format says."""
