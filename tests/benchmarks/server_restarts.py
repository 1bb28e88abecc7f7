"""The sound server killed and started again during one run: is each gap found, and measured?

Run: python tests/benchmarks/server_restarts.py [RESTARTS]
"""

import os
import random
import shutil
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[1] / "endurance"))

from conftest import Loopback
from live_run import LiveRun
from restarts import restart

RECOVERY_S, WRONG_S = 5.0, 0.2


def main():
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 10
    folder = Path(tempfile.mkdtemp(prefix="lb-", dir="/tmp"))
    os.environ["XDG_DATA_HOME"] = os.environ["XDG_STATE_HOME"] = str(folder / "own")
    loopback = Loopback(folder / "server")
    loopback.up(channels=2)
    os.environ.update(loopback.environment())
    try:
        with LiveRun("live", "--device", "loopback") as run:
            done = [restart(loopback, run, random.uniform(0.0, 4.0), channels=2) for _ in range(count)]
            code, errors = run.end()
    finally:
        loopback.down()
        shutil.rmtree(folder)
    for one in done:
        print(
            f"measuring again {one.recovery_s:5.2f} s after the server; "
            f"missing {one.missing_s:6.2f} s, told {one.lost_s:6.2f} s, {one.lost_s - one.missing_s:+.2f} s"
        )
    slowest = max(one.recovery_s for one in done) / RECOVERY_S
    worst = max(abs(one.lost_s - one.missing_s) for one in done) / WRONG_S
    print(
        f"slowest recovery: {slowest:.2f} of {RECOVERY_S} s; worst length: {worst:.2f} of {WRONG_S} s;",
        end=" ",
    )
    print(f"exit code {code}, complaints: {errors or 'none'}")


if __name__ == "__main__":
    main()
