"""One finished file measured from its first frame to its last."""
