"""The screen in a browser: each tab is a process that attaches to the run, so closing one ends no run."""
