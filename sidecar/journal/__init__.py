"""The record of every pass, on disk while it is heard: it survives a kill, and a pass can go on from it."""
