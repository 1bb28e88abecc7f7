"""The terminal and the standard output: text, tables, progress, log and shutdown."""
