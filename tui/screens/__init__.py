"""What opens over the main screen: reset, goals, a mark's label, help."""
