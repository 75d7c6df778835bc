"""ngspice, run for real on a netlist: the table it wrote comes back as an array."""

from __future__ import annotations

import subprocess
from pathlib import Path

import numpy as np
from numpy.typing import NDArray


def run_ngspice(netlist: str, folder: Path, data: str) -> NDArray[np.float64]:
    """Return the table that the netlist writes to `data`, without its header line."""
    (folder / "stage.cir").write_text(netlist)
    done = subprocess.run(
        ["ngspice", "-b", "stage.cir"], cwd=folder, capture_output=True, text=True, timeout=120, check=False
    )
    table = folder / data
    assert table.exists(), done.stdout + done.stderr
    return np.loadtxt(table, skiprows=1)
