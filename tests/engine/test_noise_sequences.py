"""Noise, sample by sample: published taps against SciPy, galois and plain stepping, for every register width.

Conventions (verified in the libraries' documentation): `scipy.signal.max_len_seq(n, taps=[n - t, ...])` is the shift to
the left with taps n and t and output n; ``taps=[t, ...]`` is the shift to the right with output bit 0; the other way
round is the time-reversed sequence, which no statistic can tell. Properties: S. W. Golomb, *Shift Register Sequences*,
1967.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import galois
import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import max_len_seq

from psgmodel.chip.channel import ShiftRegister
from psgmodel.engine.run import EngineName, run
from psgmodel.engine.shifting import ShiftMap, output_bits
from psgmodel.reglog import make_log
from tests.engine.engines import QUICK_ENGINES, agreed
from tests.engine.noise_taps import TAPS, left_by_hand, right_by_hand, right_taps
from tests.engine.one_channel import GO, START, VOLUME, unit

Bits = NDArray[np.int_]
FORMS = ("left xor", "left xnor", "right xor", "right xnor")
LEFT = range(3, 21)


def register_of(width: int, form: str) -> str:
    shift, feedback = form.split()
    taps, output = (TAPS[width], width) if shift == "left" else (right_taps(width), 1)
    seed = -1 if feedback == "xor" else 0
    return (
        f'bits = {width}, taps = {taps}, output = {output}, shift = "{shift}", feedback = "{feedback}", seed = {seed}'
    )


@cache
def heard(width: int, form: str, count: int, engine: EngineName | None = None) -> Bits:
    """The channel's level, one shift a cycle, at volume 1: the output bit before shift 1, 2 and so on.

    By default what both quick engines say.
    """
    chip = unit("noise", step="divisors = [1]", volume_bits=1, register=register_of(width, form))
    log = make_log([0, 0], [VOLUME, GO], [1, START], end=count)
    trace = agreed(chip, log, engines=QUICK_ENGINES) if engine is None else run(chip, log, engine=engine)
    return trace["x"].at(np.arange(count)).astype(np.int_)


def expected_bits(width: int, form: str, count: int) -> Bits:
    """What SciPy makes of the published taps."""
    taps = [width - t for t in TAPS[width][1:]] if form.startswith("left") else TAPS[width][1:]
    bits = max_len_seq(width, taps=taps, length=count)[0].astype(np.int_)
    return 1 - bits if form.endswith("xnor") else bits


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("width", LEFT)
def test_a_whole_period_is_the_maximal_length_sequence(width: int, form: str) -> None:
    count = (1 << width) - 1 + 2 * width
    assert np.array_equal(heard(width, form, count), expected_bits(width, form, count))


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("width", LEFT)
def test_the_reference_shifts_the_same_bits(width: int, form: str) -> None:
    count = min((1 << width) + 1, 700)
    assert np.array_equal(heard(width, form, count, "reference"), expected_bits(width, form, count))


@pytest.mark.parametrize("width", range(3, 33))
def test_galois_steps_the_same_bits(width: int) -> None:
    polynomial = galois.Poly.Degrees([width, *TAPS[width][1:], 0])
    assert polynomial.is_primitive()
    for form, register in (("left xor", galois.FLFSR(polynomial)), ("right xor", galois.FLFSR(polynomial.reverse()))):
        wanted = np.asarray(register.step(1500)).astype(np.int_)
        assert np.array_equal(heard(width, form, 1500), wanted)
        assert np.array_equal(heard(width, form, 400, "reference"), wanted[:400])


@pytest.mark.parametrize("width", LEFT)
def test_mirrored_taps_give_the_sequence_backwards_and_these_tests_would_see_it(width: int) -> None:
    count = (1 << width) - 1
    ours = heard(width, "left xor", count)
    mirrored = max_len_seq(width, taps=TAPS[width][1:])[0].astype(np.int_)
    assert not np.array_equal(ours, mirrored)
    # Backwards, from the same state of all ones: both begin with `width` ones.
    assert np.array_equal(np.roll(ours[::-1], width), mirrored)


# --- properties of a period -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("width", range(3, 17))
def test_the_period_is_two_to_the_width_less_one(width: int, form: str) -> None:
    size = (1 << width) - 1
    bits = heard(width, form, 2 * size)
    assert np.array_equal(bits[:size], bits[size:])
    for prime in galois.factors(size)[0]:
        shorter = size // prime
        assert not np.array_equal(bits[:size], np.roll(bits[:size], shorter))


@pytest.mark.parametrize("width", range(3, 21))
def test_a_period_is_balanced(width: int) -> None:
    bits = heard(width, "left xor", (1 << width) - 1)
    assert int(bits.sum()) == 1 << (width - 1)


def runs_of(bits: Bits, what: int) -> dict[int, int]:
    """How many cyclic runs of a bit there are, by length."""
    start = int(np.flatnonzero(bits != np.roll(bits, 1))[0])
    turned = np.roll(bits, -start)
    edges = np.flatnonzero(np.append(True, turned[1:] != turned[:-1]))
    lengths = np.diff(np.append(edges, turned.size))
    found, counts = np.unique(lengths[turned[edges] == what], return_counts=True)
    return dict(zip(found.tolist(), counts.tolist(), strict=True))


@pytest.mark.parametrize("width", range(4, 17))
def test_the_runs_of_a_period_are_golombs(width: int) -> None:
    bits = heard(width, "left xor", (1 << width) - 1)
    common = {k: 1 << (width - 2 - k) for k in range(1, width - 1)}
    assert runs_of(bits, 1) == {**common, width: 1}
    assert runs_of(bits, 0) == {**common, width - 1: 1}


def test_the_runs_of_width_7_are_the_published_table() -> None:
    bits = heard(7, "left xor", 127)
    assert [runs_of(bits, 1).get(k, 0) for k in range(1, 8)] == [16, 8, 4, 2, 1, 0, 1]
    assert [runs_of(bits, 0).get(k, 0) for k in range(1, 8)] == [16, 8, 4, 2, 1, 1, 0]


@pytest.mark.parametrize("width", [4, 7, 9, 12, 15])
def test_autocorrelation_and_spectrum_of_a_period_are_flat(width: int) -> None:
    size = (1 << width) - 1
    signs = 2.0 * heard(width, "left xor", size) - 1
    spectrum = np.abs(np.fft.fft(signs))
    assert spectrum[0] == pytest.approx(1, rel=1e-9)
    assert spectrum[1:] == pytest.approx(np.full(size - 1, 2.0 ** (width / 2)), rel=1e-9)
    correlation = np.fft.ifft(spectrum**2).real / size
    assert correlation[0] == pytest.approx(1, abs=1e-12)
    assert correlation[1:] == pytest.approx(np.full(size - 1, -1 / size), abs=1e-12)


def test_width_4_is_the_sequence_of_scipys_documentation() -> None:
    # Its default taps for 4 are [3]: the shift to the right.
    assert heard(4, "right xor", 15).tolist() == [1, 1, 1, 1, 0, 1, 0, 1, 1, 0, 0, 1, 0, 0, 0]


# --- wide registers: jumps and unrolled bits ------------------------------------------------------------------------


def register(width: int, form: str) -> ShiftRegister:
    shift, feedback = form.split()
    taps, output = (TAPS[width], width) if shift == "left" else (right_taps(width), 1)
    words: dict[str, Any] = {"shift": shift, "feedback": feedback}
    return ShiftRegister(bits=width, taps=tuple(taps), output=output, **words)


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("width", [3, 8, 17, *range(21, 33)])
def test_jumps_and_unrolled_bits_equal_stepping(width: int, form: str) -> None:
    by_hand = left_by_hand if form.startswith("left") else right_by_hand
    start = 0x9E3779B9 % ((1 << width) - 1) + 1
    inverted = form.endswith("xnor")
    start = start - 1 if inverted else start
    states = by_hand(width, start, 3000, inverted=inverted)
    jump = ShiftMap(register(width, form), False)
    for count in (*range(70), 255, 256, 257, 1023, 2999):
        assert jump.contents_after(start, count) == states[count]
    output = width if form.startswith("left") else 1
    bits = [state >> (output - 1) & 1 for state in states]
    for count in (1, 2, 3, 7, 8, 9, 100, 1023, 1024, 1025, 3000):
        unrolled = output_bits(register(width, form), False, start, count).tolist()
        assert len(unrolled) >= min(count, (1 << width) - 1)
        assert (unrolled * (count // len(unrolled) + 1))[:count] == bits[:count]
        assert jump.contents_list(start, count).tolist() == states[:count]


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("width", range(21, 33))
def test_wide_registers_come_back_after_exactly_the_maximal_period(width: int, form: str) -> None:
    # Back after N shifts, and after no N / p for a prime p: the period is N. Prime factors from galois.
    size = (1 << width) - 1
    start = 1 if form.endswith("xor") else size - 1
    jump = ShiftMap(register(width, form), False)
    assert jump.contents_after(start, size) == start
    for prime in galois.factors(size)[0]:
        assert jump.contents_after(start, size // prime) != start


@pytest.mark.parametrize(("width", "count"), [(22, (1 << 22) + 500), (23, 700_000), (32, 700_000)])
def test_a_long_note_on_a_wide_register(width: int, count: int) -> None:
    # Width 22 is unrolled once around, 23 only as far as needed.
    assert np.array_equal(heard(width, "left xor", count), expected_bits(width, "left xor", count))


# --- a register that is not maximal ---------------------------------------------------------------------------------


def test_cycles_of_a_register_that_is_not_maximal() -> None:
    # x^16 + x^8 + 1 = (x^2 + x + 1)^8: of the 65535 seeds 3 have period 3, 12 period 6, 240 period 12, 65280 period 24.
    polynomial = galois.Poly.Degrees([16, 8, 0])
    assert galois.factors(polynomial) == ([galois.Poly([1, 1, 1])], [8])
    seeds = np.arange(1, 1 << 16)
    now, period = seeds.copy(), np.zeros_like(seeds)
    for count in range(1, 25):
        now = (now << 1 | (now >> 15 ^ now >> 7) & 1) & 0xFFFF
        period[(period == 0) & (now == seeds)] = count
    assert {p: int((period == p).sum()) for p in (3, 6, 12, 24)} == {3: 3, 6: 12, 12: 240, 24: 65280}
    options = ShiftRegister(bits=16, taps=(16, 8), output=16)
    jump = ShiftMap(options, False)
    for length, among in ((3, 3), (6, 12), (12, 100), (24, 100)):
        for seed in seeds[period == length][:among].tolist():
            assert jump.contents_after(seed, length) == seed
            assert len(output_bits(options, False, seed, 70_000)) == length
            assert len(set(jump.contents_list(seed, length).tolist())) == length
