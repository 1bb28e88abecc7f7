"""A small disk of one's own, which can be filled and made read-only."""

import os
import subprocess

import pytest


class SmallDisk:
    """A file system of 1 MiB in memory. Only root may mount one."""

    def __init__(self, folder):
        self.folder = folder
        self._ballast = folder / "ballast"

    def mount(self):
        done = subprocess.run(
            ["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(self.folder)],
            capture_output=True,
            text=True,
            check=False,
        )
        if done.returncode and "CI" not in os.environ:
            pytest.skip("only root may mount a disk")
        assert done.returncode == 0, done.stderr

    def unmount(self):
        subprocess.run(["umount", str(self.folder)], check=True)

    def fill(self):
        """Not a byte is left."""
        with self._ballast.open("wb", buffering=0) as ballast:
            for size in (65_536, 4096, 1):
                try:
                    while ballast.write(b"\0" * size) == size:
                        pass
                except OSError:
                    continue

    def make_room(self):
        self._ballast.unlink()

    def allow_writing(self, *, allowed):
        """Makes the disk read-only, or writable again."""
        mode = "rw" if allowed else "ro"
        subprocess.run(["mount", "-o", f"remount,{mode}", str(self.folder)], check=True)
