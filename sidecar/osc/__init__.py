"""OSC: the address table, the wire, and the port of a run."""
