"""The OSC address table: what is sent, what is obeyed, what a screen needs, and how it is printed."""
