"""Which sound files are meant by folders, patterns and lists."""

from __future__ import annotations

import codecs
import os
import re
from collections import deque
from collections.abc import Iterable, Iterator
from glob import has_magic
from pathlib import Path, PurePath
from typing import BinaryIO

from sidecar.errors import SettingsError

SUFFIXES = frozenset(
    (
        *(
            ".wav",
            ".wave",
            ".bwf",
            ".rf64",
            ".w64",
            ".aif",
            ".aiff",
            ".aifc",
            ".caf",
            ".flac",
            ".ogg",
            ".oga",
        ),
        *(".opus", ".mp3", ".mp2", ".mp1", ".au", ".snd", ".sf", ".voc", ".paf", ".svx", ".8svx", ".nist"),
        *(".sph", ".sd2", ".sds", ".avr", ".htk", ".pvf", ".mpc", ".xi", ".wve"),
    )
)
"""What sound files that libsndfile reads are usually called. Left out: ``.raw``, which has no header to
read by, and ``.mat``, which seldom holds sound."""

_STARS = re.compile(r"\*{2,}")
_CHUNK_BYTES = 1 << 16
_SOUND = (b"RIFF", b"RIFX", b"RF64", b"BW64", b"riff", b"FORM", b"caff", b"fLaC", b"OggS", b"ID3", b".snd")
"""How sound files begin."""

_Place = tuple[int, int]
"""Device and inode: what a folder is, whatever leads to it."""


def sound_files(names: Iterable[str]) -> Iterator[str]:
    """A folder means the sound files in it, a pattern (``*``, ``?``, ``[…]``, ``**``) for what it
    matches, and every other name for itself, whether there is such a file or not."""
    for name in names:
        if _is_folder(name):
            yield from _in_folder(name, set())
        elif has_magic(name) and not os.path.lexists(name):
            yield from _matching(name)
        else:
            yield name


def listed(source: BinaryIO, separator: bytes) -> Iterator[str]:
    """The paths in a list, one a line, or with NUL between them; each means itself.

    A list may begin with the byte order mark of UTF-8 or UTF-16. Raises SettingsError for one that is none.
    """
    for line in _split(_content(source), separator):
        path = line.removesuffix(b"\r") if separator == b"\n" else line
        if b"\0" in path:
            raise SettingsError(
                "The list is no text. Write one file name a line, in UTF-8. For names that end with NUL, "
                "give -0."
            )
        if path:
            yield os.fsdecode(path)


def _content(source: BinaryIO) -> Iterator[bytes]:
    """The bytes of a list piece by piece, as UTF-8 where a mark says that they are UTF-16."""
    piece = source.read(_CHUNK_BYTES)
    if piece.startswith(_SOUND):
        raise SettingsError("The list of file names is audio. Give that file itself.")
    is_wide = piece.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
    decoder = codecs.getincrementaldecoder("utf-16")() if is_wide else None
    piece = piece.removeprefix(codecs.BOM_UTF8)
    while piece:
        yield piece if decoder is None else _narrowed(decoder, piece)
        piece = source.read(_CHUNK_BYTES)
    if decoder is not None:
        yield _narrowed(decoder, b"", is_last=True)


def _narrowed(decoder: codecs.IncrementalDecoder, piece: bytes, *, is_last: bool = False) -> bytes:
    try:
        return decoder.decode(piece, is_last).encode()
    except UnicodeError as error:
        raise SettingsError("The list starts as UTF-16 but is not. Save it as UTF-8.") from error


def _split(pieces: Iterable[bytes], separator: bytes) -> Iterator[bytes]:
    rest = b""
    for chunk in pieces:
        *whole, rest = (rest + chunk).split(separator)
        yield from whole
    yield rest


def _in_folder(folder: str, searched: set[_Place]) -> Iterator[str]:
    """Sorted, without what is hidden. Links to folders are searched last, so that a file goes by its real
    name, and each folder once, so that links in a ring come to an end."""
    linked = deque([folder])
    while linked:
        yield from _searched(linked.popleft(), searched, linked)


def _searched(folder: str, searched: set[_Place], linked: deque[str]) -> Iterator[str]:
    """Yields the files of a folder, or a folder that cannot be searched, so that opening it reports why."""
    try:
        status = Path(folder).stat()
        with os.scandir(folder) as found:
            entries = sorted(found, key=lambda entry: entry.name)
    except OSError:
        yield folder
        return
    place = status.st_dev, status.st_ino
    if place in searched:
        return
    searched.add(place)
    for entry in entries:
        if entry.name.startswith("."):
            continue
        if entry.is_dir(follow_symlinks=False):
            yield from _searched(entry.path, searched, linked)
        elif entry.is_symlink() and _is_folder(entry.path):
            linked.append(entry.path)
        elif PurePath(entry.name).suffix.lower() in SUFFIXES:
            yield entry.path


def _matching(pattern: str) -> Iterator[str]:
    """What matches, sorted; the pattern itself where nothing does. Links to folders are not followed.

    Beside other letters ``**`` is ``*``, as shells have it and older Pythons refuse it.
    """
    anchor = Path(pattern).anchor
    parts = PurePath(pattern.removeprefix(anchor)).parts
    below = PurePath(*(part if part == "**" else _STARS.sub("*", part) for part in parts))
    found = sorted(
        str(path)
        for path in Path(anchor).glob(str(below))
        if not any(part.startswith(".") and part not in Path(pattern).parts for part in path.parts)
    )
    if not found:
        yield pattern
    searched = set[_Place]()
    for path in found:
        if _is_folder(path):
            yield from _in_folder(path, searched)
        else:
            yield path


def _is_folder(path: str) -> bool:
    """What cannot be looked at is none; nor is a link that leads round in a circle."""
    try:
        return Path(path).is_dir()
    except OSError:
        return False
