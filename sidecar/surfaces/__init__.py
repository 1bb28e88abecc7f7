"""Control surfaces: a workstation's faders over OSC, read from TOML, moved and shown."""
