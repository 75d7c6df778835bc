"""The dither register runs through the sequences that independent libraries and algebra give."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import max_len_seq

from psgmodel.errors import StageError
from psgmodel.output_stage.modulators import LfsrDither, dither_words, lfsr_bits

# P. Alfke, XAPP052, 1996, table 3.
TAPS = {
    3: (3, 2), 4: (4, 3), 5: (5, 3), 6: (6, 5), 7: (7, 6), 8: (8, 6, 5, 4), 9: (9, 5), 10: (10, 7), 11: (11, 9),
    12: (12, 6, 4, 1), 13: (13, 4, 3, 1), 14: (14, 5, 3, 1), 15: (15, 14), 16: (16, 15, 13, 4), 17: (17, 14),
    18: (18, 11), 19: (19, 6, 2, 1), 20: (20, 17), 21: (21, 19), 22: (22, 21), 23: (23, 18), 24: (24, 23, 22, 17),
    25: (25, 22), 26: (26, 6, 2, 1), 27: (27, 5, 2, 1), 28: (28, 25), 29: (29, 27), 30: (30, 6, 4, 1),
    31: (31, 28), 32: (32, 22, 2, 1),
}  # fmt: skip


@pytest.mark.parametrize("width", list(TAPS))
def test_the_oldest_bit_equals_an_independent_generator_from_all_ones(width: int) -> None:
    """scipy.signal.max_len_seq counts taps from the other end: width - t."""
    taps = TAPS[width]
    expected, _ = max_len_seq(width, length=5000, taps=[width - t for t in taps[1:]])
    np.testing.assert_array_equal(lfsr_bits(width, taps, 2**width - 1, 5000), expected)


@pytest.mark.parametrize("width", [5, 9, 16])
def test_the_oldest_bit_equals_an_algebra_library(width: int) -> None:
    import galois

    poly = galois.Poly.Degrees([*TAPS[width], 0])
    expected = np.array(galois.FLFSR(poly, state=[1] * width).step(300))
    np.testing.assert_array_equal(lfsr_bits(width, TAPS[width], 2**width - 1, 300), expected)


@pytest.mark.parametrize("width", [4, 7, 9, 15])
def test_one_period_has_one_more_one_than_zeros_and_then_repeats(width: int) -> None:
    """S. W. Golomb, Shift Register Sequences, 1967: balance, period 2^n - 1."""
    period = 2**width - 1
    bits = lfsr_bits(width, TAPS[width], 1, 2 * period)
    assert bits[:period].sum() == 2 ** (width - 1)
    np.testing.assert_array_equal(bits[:period], bits[period:])


def test_dither_words_are_the_low_bits_of_a_register_shifted_by_hand() -> None:
    source = LfsrDither(9, (9, 5), 4, 3, seed=0b1_0110_0101)
    words, register = dither_words(source, 600)
    s = source.seed
    for n in range(600):
        low = s & 15
        assert words[n] == (low - 16 if low & 8 else low) * 8
        s = ((s << 1) & 511) | (((s >> 8) ^ (s >> 4)) & 1)
    assert register == s
    first, middle = dither_words(source, 17)
    rest, end = dither_words(source, 583, middle)
    np.testing.assert_array_equal(np.append(first, rest), words)
    assert end == register
    assert source.largest == 64


def test_a_dither_description_tells_all_its_faults_at_once() -> None:
    with pytest.raises(StageError) as caught:
        LfsrDither(9, (5, 9), 10, -1, 0)
    assert str(caught.value).splitlines() == [
        "dither bits is 10 (accepted: a whole number from 1 to 9)",
        "dither shift is -1 (accepted: a whole number from 0 to 40)",
        "dither seed is 0 (accepted: a whole number from 1 to 511)",
        "dither taps are (5, 9) (accepted: at least two bit numbers, falling, from 9 down to 1 at most)",
    ]
