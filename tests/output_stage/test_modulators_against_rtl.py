"""Each modulator equals, bit for bit, Verilog written from its register text, simulated by Icarus Verilog."""

from __future__ import annotations

import subprocess
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from psgmodel.output_stage.modulators import (
    FirstOrder,
    LfsrDither,
    Modulated,
    Pwm,
    PwmEdge,
    SecondOrder,
    first_order,
    pwm,
    samples_of_steps,
    second_order,
    second_order_of_width,
    steps_of_samples,
)
from tests.rtl.modulator_benches import HERE, run_modulator

EDGE_NUMBER = {PwmEdge.TRAILING: 0, PwmEdge.LEADING: 1, PwmEdge.CENTRE: 2}


def random_codes(seed: int, top: int, runs: int, longest: int) -> np.ndarray:
    """Codes that stand for 1 to `longest` clocks, the ends of the range more often than by chance."""
    source = np.random.default_rng(seed)
    levels = source.integers(0, top + 1, runs)
    levels[::7] = 0
    levels[3::7] = top
    return np.repeat(levels, source.integers(1, longest + 1, runs))


def assert_same_pin(made: Modulated, pins: np.ndarray) -> None:
    np.testing.assert_array_equal(samples_of_steps(made.steps), pins)


@pytest.mark.parametrize("edge", list(PwmEdge))
@pytest.mark.parametrize("length", [1, 2, 7, 16, 100])
def test_the_pwm_pin_equals_the_rtl_for_codes_that_change_at_any_clock(
    edge: PwmEdge, length: int, tmp_path: Path
) -> None:
    codes = random_codes(length, length, 300, 3 * length)
    parameters = {"WIDTH": length.bit_length(), "LENGTH": length, "EDGE": EDGE_NUMBER[edge]}
    pins, _ = run_modulator("pwm", parameters, codes, tmp_path)
    assert_same_pin(pwm(steps_of_samples(codes), Pwm(length, edge)), pins)


@pytest.mark.parametrize("edge", list(PwmEdge))
def test_the_pwm_pin_equals_the_rtl_over_every_duty_from_0_to_100_per_cent(edge: PwmEdge, tmp_path: Path) -> None:
    length = 32
    form = Pwm(length, edge)
    codes = np.repeat(np.append(np.arange(length + 1), [0, length, 0, length, length, 1]), form.period)
    pins, _ = run_modulator("pwm", {"WIDTH": 6, "LENGTH": length, "EDGE": EDGE_NUMBER[edge]}, codes, tmp_path)
    assert_same_pin(pwm(steps_of_samples(codes), form), pins)


@pytest.mark.parametrize("bits", [1, 4, 8, 9, 16, 31])
def test_the_first_order_pin_equals_the_rtl(bits: int, tmp_path: Path) -> None:
    codes = random_codes(bits, 2**bits - 1, 500, 40)
    pins, _ = run_modulator("sigma_delta_1", {"WIDTH": bits}, codes, tmp_path)
    assert_same_pin(first_order(steps_of_samples(codes), FirstOrder(bits)), pins)


TAPS16 = (16, 15, 13, 4)  # P. Alfke, XAPP052, 1996, table 3
SECOND_ORDER_FORMS = [
    pytest.param(second_order_of_width(9), id="usual-words-scale-3/4"),
    pytest.param(second_order_of_width(4, Fraction(1, 2)), id="4-bits-scale-1/2"),
    pytest.param(second_order_of_width(16, Fraction(7, 8), LfsrDither(16, TAPS16, 12, 5, 0xACE1)), id="16-bits-dither"),
    pytest.param(second_order_of_width(9, Fraction(3, 4), LfsrDither(16, TAPS16, 1, 8)), id="one-bit-dither"),
    pytest.param(SecondOrder(9, 12, 13, Fraction(1)), id="scale-1-clamps"),
    pytest.param(SecondOrder(9, 10, 10, Fraction(1)), id="narrowest-words-clamp-often"),
    pytest.param(SecondOrder(1, 4, 6, Fraction(3, 4)), id="one-bit-code"),
]


@pytest.mark.parametrize("form", SECOND_ORDER_FORMS)
def test_the_second_order_pin_and_its_overload_count_equal_the_rtl(form: SecondOrder, tmp_path: Path) -> None:
    codes = random_codes(form.code_bits, form.top, 400, 60)
    scale = Fraction(form.input_scale)
    parameters = {"WIDTH": form.code_bits, "W1": form.first_bits, "W2": form.second_bits}
    parameters |= {"NUM": scale.numerator, "DEN": scale.denominator}
    if form.dither:
        mask = sum(1 << (tap - 1) for tap in form.dither.taps)
        parameters |= {"LFSR_W": form.dither.width, "LFSR_TAPS": mask, "LFSR_SEED": form.dither.seed}
        parameters |= {"DITHER_W": form.dither.bits, "DITHER_SHIFT": form.dither.shift}
    pins, said = run_modulator("sigma_delta_2", parameters, codes, tmp_path)
    made = second_order(steps_of_samples(codes), form)
    assert_same_pin(made, pins)
    first = -1 if made.first_saturation is None else made.first_saturation
    assert said == f"bench: done clamped {made.saturations} first {first}"


def test_the_overload_forms_of_the_rtl_comparison_do_clamp() -> None:
    codes = steps_of_samples(random_codes(9, 511, 400, 60))
    assert second_order(codes, SecondOrder(9, 12, 13, Fraction(1))).saturations > 0
    assert second_order(codes, second_order_of_width(9)).saturations == 0


@pytest.mark.parametrize(
    ("module", "options"),
    [
        ("pwm", ["-GEDGE=0"]),
        ("pwm", ["-GEDGE=1"]),
        ("pwm", ["-GEDGE=2"]),
        ("sigma_delta_1", []),
        ("sigma_delta_2", []),
        ("sigma_delta_2", ["-GDITHER_W=5", "-GDITHER_SHIFT=2"]),
    ],
)
def test_the_rtl_of_a_modulator_passes_the_lint_of_a_second_tool(module: str, options: list[str]) -> None:
    """Verilator reads the synthesizable part only; high bits of the clamped sums are unused by intent."""
    command = ["verilator", "--lint-only", "-Wall", "-Wno-UNUSEDSIGNAL", *options, str(HERE / f"{module}.v")]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
