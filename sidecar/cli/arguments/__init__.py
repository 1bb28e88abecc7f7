"""The options of each command, a file a command. Nothing heavy may be imported here: ``sidecar --help``
must be there at once."""
