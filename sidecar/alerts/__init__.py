"""When to warn, and the programs that are run when an alert changes."""
