"""Delivery: finished files measured and judged against a goal."""
