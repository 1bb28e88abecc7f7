"""The options of the commands. Nothing heavy is imported here: ``sidecar --help`` must be there at once."""
