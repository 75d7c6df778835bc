"""Facts about the kernel that the exactness of every sample rests on."""

from __future__ import annotations

import hashlib
import itertools

import numpy as np
import pytest
from numpy.polynomial import chebyshev
from scipy.integrate import quad
from scipy.special import i0

from psgmodel.audio import kernel, scatter
from psgmodel.audio.kernel import NARROW, WIDE, KernelDesign

DESIGNS = pytest.mark.parametrize("design", [NARROW, WIDE], ids=["narrow", "wide"])


@DESIGNS
@pytest.mark.parametrize("phases", [1, 2, 3, 128, 625, 1009, 8192])
def test_every_row_sums_to_one_level_exactly(design: KernelDesign, phases: int) -> None:
    rows = kernel.exact_rows(design, phases)
    assert rows.shape == (phases, design.taps)
    assert np.array_equal(rows.sum(axis=1), np.full(phases, 2**34))


@DESIGNS
def test_every_mixed_row_sums_to_one_level_exactly(design: KernelDesign) -> None:
    assert set(kernel.fine_rows(design).sum(axis=1).tolist()) == {2**24}
    assert kernel.FINE_BITS + kernel.WEIGHT_BITS == 23
    assert 24 + kernel.WEIGHT_BITS == kernel.ROW_BITS


@DESIGNS
def test_the_step_is_the_integral_of_a_kaiser_windowed_sinc(design: KernelDesign) -> None:
    # Kaiser 1974; integrated by QUADPACK instead of the code's own quadrature.
    beta = 0.1102 * (design.attenuation - 8.7)
    half = design.width / 2

    def impulse(t: float) -> float:
        return float(np.sinc(2 * design.cutoff * t) * i0(beta * np.sqrt(max(0.0, 1 - (t / half) ** 2))))

    def area(upto: float) -> float:
        marks = [float(m) for m in np.arange(-half, np.ceil(upto))] + [upto]
        return sum(quad(impulse, a, b, epsabs=1e-13)[0] for a, b in itertools.pairwise(marks))

    whole = area(half)
    for numerator in (0, 37, 64, 101):
        found = kernel.step_at(design, np.array([numerator]), 128)[0] / 2**34
        for cell in (0, design.width // 2 - 1, design.width // 2, design.width - 3):
            at = -half + cell + 1 - numerator / 128
            assert found[cell] == pytest.approx(area(at) / whole, abs=2**-30)


@DESIGNS
def test_integer_polynomials_are_the_chebyshev_curve_to_30_bits(design: KernelDesign) -> None:
    x = 1 - 2 * np.arange(1025) / 1024
    exact = chebyshev.chebval(x, kernel.step_curve(design)).T
    found = kernel.step_at(design, np.arange(1025, dtype=np.int64), 1024) / 2**34
    assert np.abs(exact - found).max() < 2**-30


@DESIGNS
def test_no_coefficient_lies_where_another_machine_could_round_it_otherwise(design: KernelDesign) -> None:
    # The design is the only floating-point step. Its error: the same sums in 80-bit arithmetic bound it below.
    scaled = np.ldexp(kernel.step_curve(design), 34)
    from_boundary = np.abs(np.abs(scaled - np.floor(scaled)) - 0.5)
    assert from_boundary.min() > 1e-3
    last_digits = np.ldexp(64 * np.finfo(np.float64).eps, 34)  # 64 units in the last place of 1.0
    assert last_digits < from_boundary.min() / 4


@pytest.mark.parametrize(
    ("design", "digest"),
    [
        (NARROW, "cbf340b956fdeca6"),
        (WIDE, "c65242687ff74105"),
    ],
    ids=["narrow", "wide"],
)
def test_the_integers_are_those_of_every_other_machine(design: KernelDesign, digest: str) -> None:
    # Frozen regression: made by this code; it says "unchanged", the tests above say "right".
    data = kernel.step_polynomials(design).astype("<i8").tobytes()
    assert hashlib.sha256(data).hexdigest()[:16] == digest


@DESIGNS
def test_sums_in_float64_stay_below_2_to_the_53_where_that_path_is_taken(design: KernelDesign) -> None:
    # `differences` takes floats when changes per cell x largest change x _ROW_GAIN x 2**34 < 2**53. What one output
    # difference can gather from all cells is at most the sum over taps of the largest row entry.
    for rows in (kernel.exact_rows(design, 8192), kernel.fine_rows(design) << kernel.WEIGHT_BITS):
        assert np.abs(rows).max(axis=0).sum() < scatter._ROW_GAIN * kernel.ROW_SUM


@DESIGNS
def test_running_sums_of_the_largest_levels_stay_inside_int64(design: KernelDesign) -> None:
    # A signal within +-L comes out within L times the total variation of the step.
    phases = 8192
    step = kernel.step_at(design, np.arange(phases, dtype=np.int64), phases)[::-1].T.ravel()
    variation = int(np.abs(np.diff(step)).sum()) + int(abs(step[0])) + int(abs(2**34 - step[-1]))
    assert variation < 2.2 * 2**34
    assert kernel.MAX_LEVEL * variation < 2**63


@DESIGNS
def test_the_stop_band_is_120_db_down_and_the_pass_band_flat(design: KernelDesign) -> None:
    # Fourier transform of the integer step, by the DFT of its differences on 64 phases a cell.
    step = kernel.step_at(design, np.arange(64, dtype=np.int64), 64)[::-1].T.ravel() / 2**34
    response = np.abs(np.fft.rfft(np.diff(step, prepend=0.0), 2**18))
    cycles = np.arange(response.size) * 64 / 2**18
    held = np.abs(np.sinc(cycles / 64))  # the differences are those of one-64th-cell boxes
    level = 20 * np.log10(response / held + 1e-12)
    assert np.abs(level[cycles <= design.pass_edge]).max() < 0.005
    assert level[(cycles >= 1 - design.pass_edge) & (cycles < 16)].max() < -121
