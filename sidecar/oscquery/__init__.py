"""Lets controllers and patches find a run and its OSC addresses by themselves: OSCQuery over HTTP.

``tree`` turns the OSC table into nodes, ``server`` answers for them, ``listener`` is one client that follows
values, ``announce`` makes the run known by name on the network. Nothing here changes a run.
"""
