"""The data that flows between rooms: readings, snapshots, commands. Frozen dataclasses."""
