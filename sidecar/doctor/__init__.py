"""The line-up tone test of the whole chain: played, captured and judged."""
