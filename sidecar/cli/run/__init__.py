"""What live and rehearse share: a session with its outputs, on the screen or in lines."""
