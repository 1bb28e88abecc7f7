"""Discovery of a run and its OSC addresses by controllers and patches: OSCQuery over HTTP.

``tree`` turns the OSC table into nodes, ``server`` serves them, ``listener`` is one client that follows
values, ``announce`` publishes the run's name on the network. Nothing here changes a run.
"""
