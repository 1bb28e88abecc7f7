"""Gains that bring a set of files to one loudness, and copies rendered at them."""
