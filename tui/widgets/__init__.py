"""The panels of the main screen, one a file; each only paints what :mod:`tui.drawing` returns."""
