"""The OSC address table: what is sent, what is accepted, what a screen needs, and how it is printed."""
