import subprocess
import sys

import numpy as np

from sidecar.meter import Meter

MEASURED = "Meter(48_000).push(np.zeros((48_000, 2), np.int16))"


def test_a_start_that_compiles_nothing_leaves_the_compiler_out():
    """To import it takes longer than all else."""
    Meter(48_000).push(np.zeros((48_000, 2), np.int16))
    program = f"""
import sys
import numpy as np
from sidecar.meter import Meter
{MEASURED}
print([name for name in ("numba", "scipy") if name in sys.modules])
"""
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, timeout=120, check=True
    )

    assert done.stdout.strip() == "[]"
