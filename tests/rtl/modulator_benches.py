"""Run the test bench of a modulator in Icarus Verilog.

Stage: tests. In: the module's name, its parameters, and the code of every clock from the first edge after reset on.
Out: the pin of every clock, and the last line the bench said.
"""

from __future__ import annotations

import subprocess
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

HERE = Path(__file__).parent


def run_modulator(
    module: str, parameters: dict[str, int], codes: Sequence[int] | NDArray[np.integer], work: Path
) -> tuple[NDArray[np.int64], str]:
    """Compile and run a bench.

    Parameters
    ----------
    module : str
        ``pwm``, ``sigma_delta_1`` or ``sigma_delta_2``.
    parameters : dict
        Parameters of the bench, by name.
    codes : sequence of int, shape (n,)
        Code before each edge.
    work : Path
        Folder for what is built and written.

    Returns
    -------
    pins : ndarray of int64, shape (n,)
    said : str
        Last line on standard output.
    """
    program, code_file, pin_file = work / "bench.vvp", work / "codes.hex", work / "pins.txt"
    settings = [f"-Pbench.{name}={value}" for name, value in parameters.items()]
    sources = [str(HERE / f"{module}_bench.v"), str(HERE / f"{module}.v")]
    _run(["iverilog", "-g2001", "-o", str(program), *settings, *sources])
    code_file.write_text("".join(f"{int(c):x}\n" for c in codes), encoding="ascii")
    said = _run(["vvp", "-N", str(program), f"+codes={code_file}", f"+count={len(codes)}", f"+pins={pin_file}"])
    last = said.strip().splitlines()[-1]
    assert last.startswith("bench: done"), said
    pins = np.frombuffer(pin_file.read_bytes(), dtype=np.uint8).astype(np.int64) - ord("0")
    return pins, last


def _run(command: list[str]) -> str:
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=120)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout
