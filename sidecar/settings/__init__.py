"""Settings files: TOML found by name, read, checked and refused; the delivery goals."""
