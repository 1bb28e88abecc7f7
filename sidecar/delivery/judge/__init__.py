"""A measured file held against its goal: verdict, findings, notes and remedy."""
