"""Everything that can go wrong for a person, in one tree.

SidecarError
├── SettingsError      a goal, surface or command-line value that cannot be used
├── MissingPackage     something asked for needs a package that is not installed
├── SignalError        audio that cannot be measured: rate, channels, shape
├── SourceError        audio that cannot be had: file, device, sound system
│   └── DeviceLost     it was there and is gone for good
├── OutputError        a file or a stream that cannot be written: full disk, no permission, no folder
├── RecordError        the record of passes or an archive: damaged, held, or without that pass
└── NetworkError       an OSC target or port that cannot be used

A message says what is wrong, with what value, and what to do next.
"""


class SidecarError(Exception):
    """Base of every error that is shown to a person without a traceback."""


class SettingsError(SidecarError):
    """A setting cannot be used."""


class MissingPackage(SidecarError):
    """What was asked for needs a package that is not installed."""


class OutputError(SidecarError):
    """A file or a stream cannot be written."""


class RecordError(SidecarError):
    """The record of passes, or an archive, cannot be read or written, or does not have what is asked for."""


class SignalError(SidecarError):
    """This audio cannot be measured."""


class SourceError(SidecarError):
    """No audio can be had from this place."""


class DeviceLost(SourceError):
    """The input was there and has not come back."""


class NetworkError(SidecarError):
    """An OSC target or port cannot be used."""
