"""Everything that can go wrong for a person, in one tree.

SidecarError
├── SettingsError      a goal, surface or command-line value that cannot be used
├── SignalError        audio that cannot be measured: rate, channels, shape
├── SourceError        audio that cannot be had: file, device, sound system
│   └── DeviceLost     it was there and is gone for good
└── NetworkError       an OSC target or port that cannot be used

A message says what is wrong, with what value, and what to do next.
"""


class SidecarError(Exception):
    """Base of every error that is shown to a person without a traceback."""


class SettingsError(SidecarError):
    """A setting cannot be used."""


class SignalError(SidecarError):
    """This audio cannot be measured."""


class SourceError(SidecarError):
    """No audio can be had from this place."""


class DeviceLost(SourceError):
    """The input was there and has not come back."""


class NetworkError(SidecarError):
    """An OSC target or port cannot be used."""
