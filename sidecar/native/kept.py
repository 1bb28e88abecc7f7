"""Machine code on the disk: beside its source, else in the user's folder, else in a temporary one."""

from __future__ import annotations

import hashlib
import json
import os
import stat
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from functools import cache
from importlib.util import find_spec
from pathlib import Path

import numpy as np

from sidecar.native.machine_code import ObjectCode, loader_version, processor
from sidecar.storage.atomic_file import try_lock, write_whole

_SUFFIX = ".kernel"
_LOOK_S = 0.02
_LONGEST_S = 120.0
"""Longest wait for another process: a busy machine compiles a kernel in half a minute; a stopped process
never does."""


@cache
def stamp(folder: Path) -> str:
    """Returns what changes with the compiler, the processor, and any source of a kernel's folder or of the
    meter's: kernels use constants and functions of their neighbours."""
    digest = hashlib.sha256()
    meter = Path(__file__).parents[1] / "meter"
    for file in sorted({*folder.glob("*.py"), *meter.glob("*.py"), *Path(__file__).parent.glob("*.py")}):
        digest.update(file.read_bytes())
    versions = (_compiler_version(), loader_version(), np.__version__, processor())
    set_for_it = sorted(pair for pair in os.environ.items() if pair[0].startswith("NUMBA_"))
    digest.update(repr((versions, set_for_it)).encode())
    return digest.hexdigest()


def read(name: str, kinds: str, of: str) -> ObjectCode | None:
    """Returns what is kept of a kernel for these types of arguments; None where that is nothing, or is of
    another stamp, or damaged."""
    for place in _places():
        with suppress(OSError, ValueError, TypeError):
            header, _, content = (place / _file_name(name, kinds)).read_bytes().partition(b"\n")
            said = json.loads(header)
            if (said.pop("stamp"), said.pop("digest")) == (of, hashlib.sha256(content).hexdigest()):
                return ObjectCode(**{**said, "needs": tuple(said["needs"])}, content=content)
    return None


def write(name: str, kinds: str, of: str, code: ObjectCode) -> None:
    """Keeps machine code in the first place that takes it; nothing is kept where none does."""
    header = {
        "stamp": of,
        "digest": hashlib.sha256(code.content).hexdigest(),
        "words": code.words,
        "results": code.results,
        "is_tuple": code.is_tuple,
        "needs": code.needs,
    }
    whole = json.dumps(header).encode() + b"\n" + code.content
    for place in _places(make=True):
        with suppress(OSError):
            place.mkdir(parents=True, exist_ok=True)
            write_whole(place / _file_name(name, kinds), whole)
            return


@contextmanager
def claimed(name: str, kinds: str) -> Iterator[None]:
    """Keeps other processes from compiling a kernel for these types of arguments during the context, which
    begins when none of them does. Nothing is kept from anyone where nothing can be kept, or locked."""
    opened = _opened_claim(name, kinds)
    if opened is None:
        yield
        return
    claim, descriptor = opened
    try:
        until_s = time.monotonic() + _LONGEST_S
        while not try_lock(descriptor) and time.monotonic() < until_s:
            time.sleep(_LOOK_S)
        yield
    finally:
        os.close(descriptor)
        with suppress(OSError):  # Windows keeps one that another process waits for
            claim.unlink()


def _opened_claim(name: str, kinds: str) -> tuple[Path, int] | None:
    """A file beside where the code will lie. What two processes compile after all is only compiled twice."""
    for place in _places(make=True):
        with suppress(OSError):
            place.mkdir(parents=True, exist_ok=True)
            claim = place / f"{_file_name(name, kinds)}.claim"
            return claim, os.open(claim, os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0), 0o600)
    return None


def holds(name: str) -> bool:
    """Returns whether any form of a kernel is kept, perhaps of an older source."""
    return any(next(place.glob(f"{name}-*{_SUFFIX}"), None) is not None for place in _places())


def _file_name(name: str, kinds: str) -> str:
    """One for each form, and for each installation, as several may keep theirs in the user's folder."""
    digest = hashlib.sha256(f"{Path(__file__).parent} {kinds}".encode()).hexdigest()
    return f"{name}-{digest[:12]}{_SUFFIX}"


def _places(make: bool = False) -> Iterator[Path]:
    """The folders where code may lie. make: a temporary one is made where there is none."""
    yield _installation()
    with suppress(RuntimeError):  # there is no home
        yield _user_wide().expanduser()
    if temporary := _temporary(make):
        yield temporary


def _installation() -> Path:
    return Path(__file__).parent / "__pycache__"


def _user_wide() -> Path:
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA", "~")) / "loudness-sidecar" / "kernels"
    usual = "~/Library/Caches" if sys.platform == "darwin" else os.environ.get("XDG_CACHE_HOME", "~/.cache")
    return Path(usual) / "loudness-sidecar" / "kernels"


def _temporary(make: bool) -> Path | None:
    """The same for each run of a user, so that only the first one compiles. Code is loaded from it, so one
    that others could have written to is left alone."""
    usual = Path(tempfile.gettempdir()) / f"loudness-sidecar-{os.getuid() if hasattr(os, 'getuid') else 0}"
    try:
        if make:
            usual.mkdir(mode=0o700, exist_ok=True)
        found = usual.lstat()
    except OSError:
        return None
    is_own = not hasattr(os, "getuid") or (found.st_uid == os.getuid() and not found.st_mode & 0o077)
    return usual if stat.S_ISDIR(found.st_mode) and is_own else None


@cache
def _compiler_version() -> str:
    """By its files: to import it, or the list of what is installed, takes longer than most commands."""
    found = find_spec("numba")
    if found is None or found.origin is None:
        return ""
    status = Path(found.origin).with_name("_version.py").stat()
    return f"{found.origin} {status.st_mtime_ns} {status.st_size}"
