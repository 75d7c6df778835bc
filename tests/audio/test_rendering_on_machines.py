"""The same bytes on other processors, and bounded memory for an hour of sound."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

DIGEST = """
import hashlib
import numpy as np
from psgmodel.audio import kernel, render_steps
from psgmodel.steps import steps_from_changes
rng = np.random.default_rng(1)
at = np.cumsum(rng.integers(1, 200, 20_000))
steps = steps_from_changes(at, rng.integers(-500, 500, 20_000), int(at[-1]) + 9)
digest = hashlib.sha256()
for design in (kernel.NARROW, kernel.WIDE):
    digest.update(kernel.step_polynomials(design).tobytes())
for clock_hz, rate in ((6_144_000, 48_000), (4_761_900, 44_100)):
    digest.update(render_steps(steps, clock_hz, rate, full_scale=511).tobytes())
print(digest.hexdigest())
"""

HOUR = """
import resource
import numpy as np
from psgmodel.audio import render_blocks
from psgmodel.steps import steps_from_changes
CLOCK = 6_144_000
def pieces():
    for second in range(3_600):
        rng = np.random.default_rng(second)
        at = np.unique(rng.integers(0, CLOCK, 20_000))
        at[0] = 0
        yield [steps_from_changes(at + second * CLOCK, rng.integers(0, 512, at.size), (second + 1) * CLOCK)]
print(sum(b.shape[0] for b in render_blocks(pieces(), CLOCK, 48_000, full_scale=511)))
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""


def test_a_processor_without_wide_vector_units_gives_the_same_bytes() -> None:
    # NumPy is told to leave out its AVX2 and AVX-512 code; sines and sums of the design then differ in last digits.
    found = set()
    for disabled in ("", "X86_V4", "X86_V3 X86_V4"):
        environment = {**os.environ, "NPY_DISABLE_CPU_FEATURES": disabled}
        done = subprocess.run(
            [sys.executable, "-W", "ignore", "-c", DIGEST], capture_output=True, text=True, check=True, env=environment
        )
        found.add(done.stdout)
    assert len(found) == 1
    assert len(found.pop()) == 65


@pytest.mark.long
def test_an_hour_of_sound_is_rendered_in_under_400_mb() -> None:
    done = subprocess.run([sys.executable, "-c", HOUR], capture_output=True, text=True, check=True)
    samples, kilobytes = map(int, done.stdout.split())
    assert samples == 3_600 * 48_000
    assert kilobytes < 400_000
