"""The ladder equals a nodal solution of its resistors, and its worst case that of every corner."""

from __future__ import annotations

import itertools
import subprocess
from pathlib import Path

import numpy as np
import pytest

from psgmodel.errors import StageError
from psgmodel.output_stage.modulators import Ladder, Spread, ladder_monte_carlo, ladder_table, ladder_worst_case


def nodal_volts(ladder: Ladder, deviations: np.ndarray) -> tuple[np.ndarray, float]:
    """Volts of every code and output resistance, by solving the conductance matrix (textbook nodal analysis)."""
    n = ladder.bits
    ohm = ladder.ohm * (1 + deviations)
    legs, chain, end = 2 * ohm[:n] + ladder.pin_ohm, ohm[n : 2 * n - 1], 2 * ohm[-1]
    matrix = np.diag(1 / legs)
    matrix[-1, -1] += 1 / end
    for i, r in enumerate(chain):
        matrix[i, i] += 1 / r
        matrix[i + 1, i + 1] += 1 / r
        matrix[i, i + 1] -= 1 / r
        matrix[i + 1, i] -= 1 / r
    inverse = np.linalg.inv(matrix)
    bits = (np.arange(2**n)[:, np.newaxis] >> np.arange(n)[::-1]) & 1
    return (bits * ladder.reference_volt / legs) @ inverse[0], inverse[0, 0]


def test_an_ideal_ladder_gives_code_times_lsb_behind_r() -> None:
    """Textbook: LSB = reference / 2^N, output resistance R."""
    table = ladder_table(Ladder(8, 10e3, 3.3))
    np.testing.assert_allclose(table.volts, np.arange(256) * 3.3 / 256, rtol=1e-13)
    assert table.output_ohm == pytest.approx(10e3, rel=1e-14)
    assert Ladder(8, 10e3, 3.3).lsb_volt == 3.3 / 256
    assert np.abs(table.inl).max() < 1e-10
    assert np.abs(table.dnl).max() < 1e-10


@pytest.mark.parametrize("bits", [1, 2, 5, 8])
def test_any_ladder_equals_the_nodal_solution_of_its_resistors(bits: int) -> None:
    ladder = Ladder(bits, 4700.0, 3.3, pin_ohm=40.0)
    deviations = np.random.default_rng(bits).uniform(-0.3, 0.3, 2 * bits)
    volts, ohm = nodal_volts(ladder, deviations)
    table = ladder_table(ladder, deviations)
    np.testing.assert_allclose(table.volts, volts, rtol=1e-12, atol=1e-14)
    assert table.output_ohm == pytest.approx(ohm, rel=1e-12)


def test_a_ladder_equals_a_circuit_simulator(tmp_path: Path) -> None:
    """Code 5 (0101) of a four-bit ladder with unequal resistors, operating point by ngspice."""
    off = [0.05, -0.04, 0.03, -0.02, 0.01, -0.05, 0.04, -0.03]
    leg, chain, end = [2e4 * (1 + d) for d in off[:4]], [1e4 * (1 + d) for d in off[4:7]], 2e4 * (1 + off[7])
    pins = [0, 3.3, 0, 3.3]
    cards = [f"V{i} p{i} 0 {v}\nR{i} p{i} n{i} {r!r}" for i, (v, r) in enumerate(zip(pins, leg, strict=True))]
    cards += [f"Rc{i} n{i} n{i + 1} {r!r}" for i, r in enumerate(chain)]
    text = [
        "ladder",
        *cards,
        f"Re n3 0 {end!r}",
        ".control",
        "op",
        "set numdgt=12",
        "print v(n0)",
        "quit",
        ".endc",
        ".end",
    ]
    (tmp_path / "ladder.cir").write_text("\n".join(text) + "\n", encoding="ascii")
    said = subprocess.run(
        ["ngspice", "-b", str(tmp_path / "ladder.cir")], capture_output=True, text=True, check=False
    ).stdout
    volt = float(next(line for line in said.splitlines() if line.startswith("v(n0)")).split("=")[1])
    assert ladder_table(Ladder(4, 1e4, 3.3), np.array(off)).volts[5] == pytest.approx(volt, rel=1e-9)


def test_inl_is_taken_from_the_end_point_line_and_dnl_from_its_step() -> None:
    """Two bits, highest leg 10 % low: nodal volts, then the definitions by hand."""
    ladder = Ladder(2, 1e3, 4.0)
    off = np.array([-0.1, 0, 0, 0])
    volts, _ = nodal_volts(ladder, off)
    lsb = volts[3] / 3
    table = ladder_table(ladder, off)
    np.testing.assert_allclose(table.inl, [0, volts[1] / lsb - 1, volts[2] / lsb - 2, 0], atol=1e-12)
    np.testing.assert_allclose(
        table.dnl, [volts[1] / lsb - 1, (volts[2] - volts[1]) / lsb - 1, (volts[3] - volts[2]) / lsb - 1], atol=1e-12
    )


@pytest.mark.parametrize(("bits", "tolerance"), [(2, 0.05), (3, 0.01), (4, 0.05)])
def test_the_worst_case_is_the_worst_of_all_corners(bits: int, tolerance: float) -> None:
    ladder = Ladder(bits, 1e4, 3.3, tolerance)
    corners = [
        ladder_table(ladder, np.array(signs) * tolerance) for signs in itertools.product((-1, 1), repeat=2 * bits)
    ]
    worst = ladder_worst_case(ladder)
    assert worst.inl == pytest.approx(max(np.abs(t.inl).max() for t in corners), rel=1e-9)
    assert worst.dnl == pytest.approx(max(np.abs(t.dnl).max() for t in corners), rel=1e-9)
    assert worst.dnl_code == 2 ** (bits - 1) - 1


@pytest.mark.parametrize("spread", list(Spread))
def test_random_ladders_stay_within_the_worst_case_and_repeat_with_their_seed(spread: Spread) -> None:
    ladder = Ladder(6, 1e4, 3.3, 0.02)
    worst = ladder_worst_case(ladder)
    tables = ladder_monte_carlo(ladder, 200, 5, spread)
    assert max(np.abs(t.inl).max() for t in tables) <= worst.inl
    assert 0 < max(np.abs(t.dnl).max() for t in tables) <= worst.dnl
    again = ladder_monte_carlo(ladder, 200, 5, spread)
    assert all(np.array_equal(a.volts, b.volts) for a, b in zip(tables, again, strict=True))
    other = ladder_monte_carlo(ladder, 1, 6, spread)
    assert not np.array_equal(other[0].volts, tables[0].volts)


def test_a_ladder_description_tells_all_its_faults_at_once() -> None:
    with pytest.raises(StageError) as caught:
        Ladder(15, 0.0, float("nan"), -0.01, 1e9)
    assert str(caught.value).splitlines() == [
        "ladder width is 15 (accepted: a whole number from 1 to 14)",
        "ladder resistance in ohm is 0.0 (accepted: 1 to 1e+09)",
        "reference voltage is nan (accepted: 1e-06 to 1000)",
        "resistor tolerance is -0.01 (accepted: 0 to 0.5)",
        "pin resistance in ohm is 1000000000.0 (accepted: 0 to 1e+06)",
    ]
    with pytest.raises(StageError, match=r"resistor deviations of shape \(3,\) .accepted: 8 numbers above -1"):
        ladder_table(Ladder(4, 1e4, 3.3), np.zeros(3))
    with pytest.raises(StageError, match="number of ladders is 0"):
        ladder_monte_carlo(Ladder(4, 1e4, 3.3), 0, 1)
