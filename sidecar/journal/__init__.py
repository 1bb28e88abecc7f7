"""The record of every pass, written while it is measured: it survives a kill, and a run can resume it."""
