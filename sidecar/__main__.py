"""``python -m sidecar`` is the command ``sidecar``."""

from sidecar.cli import main

if __name__ == "__main__":
    raise SystemExit(main())
