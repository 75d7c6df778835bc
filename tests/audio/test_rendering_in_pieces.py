"""Whole = part + rest, for every cut; and what is refused."""

from __future__ import annotations

import tracemalloc
from collections.abc import Iterator
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from psgmodel.audio import StepsRenderer, kernel, render_blocks, render_channels, render_steps, scatter
from psgmodel.errors import AudioError
from psgmodel.steps import Steps, constant_steps, empty_steps, steps_from_changes

THIRD_OF_100_MHZ = Fraction(100_000_000, 3)


def noise_steps(seed: int, changes: int, span: int, start: int = 0, size: int = 512) -> Steps:
    rng = np.random.default_rng(seed)
    at = np.sort(rng.choice(span, changes, replace=False))
    at[0] = 0
    return steps_from_changes(at + start, rng.integers(-size, size, changes), start + span)


def in_pieces(steps: Steps, clock_hz: int | Fraction, rate: int, cuts: list[int]) -> bytes:
    renderer = StepsRenderer(clock_hz, rate, full_scale=511)
    out = []
    for a, b in zip([steps.start, *cuts], [*cuts, steps.end], strict=True):
        out.append(renderer.push(steps.cut(a, b)))
        renderer = StepsRenderer.from_state(renderer.state())
    return np.concatenate([*out, renderer.finish()]).tobytes()


@pytest.mark.parametrize("piece", [1, 2, 127, 128, 129, 1_000, 33_333])
@pytest.mark.parametrize(
    ("clock_hz", "rate"),
    [(6_144_000, 48_000), (6_144_000, 44_100), (4_761_900, 96_000), (THIRD_OF_100_MHZ, 44_100), (9_000, 48_000)],
    ids=str,
)
def test_a_signal_rendered_and_resumed_piece_by_piece_has_the_same_bytes(
    clock_hz: int | Fraction, rate: int, piece: int
) -> None:
    span = 2_000 if piece < 100 else 100_003
    steps = noise_steps(piece, span // 10, span, start=77)
    whole = render_steps(steps, clock_hz, rate, full_scale=511).tobytes()
    assert in_pieces(steps, clock_hz, rate, list(range(77 + piece, steps.end, piece))) == whole


@settings(max_examples=60, deadline=None)
@given(
    seed=st.integers(0, 10**6),
    clock_hz=st.one_of(st.integers(1, 10**9), st.fractions(1, 10**7, max_denominator=5000)),
    rate=st.integers(8_000, 192_000),
    cuts=st.lists(st.integers(1, 4_999), max_size=6, unique=True).map(sorted),
)
def test_any_clock_any_rate_and_any_cuts_give_the_same_bytes(
    seed: int, clock_hz: int | Fraction, rate: int, cuts: list[int]
) -> None:
    span = max(2, min(5_000, int(20_000 * clock_hz / rate)))
    steps = noise_steps(seed, max(1, span // 7), span)
    whole = render_steps(steps, clock_hz, rate, full_scale=511).tobytes()
    assert in_pieces(steps, clock_hz, rate, [c for c in cuts if c < span]) == whole


@pytest.mark.parametrize("block", [1, 7, 4_096, 10**9])
def test_blocks_of_any_size_join_to_the_whole(block: int) -> None:
    channels = [noise_steps(k, 900, 30_000 if block == 1 else 3_000_000) for k in range(3)]
    whole = render_channels(channels, 6_144_000, 44_100, full_scale=512)
    pieces = [[c.cut(a, a + 250_000) for c in channels] for a in range(0, 3_000_000, 250_000)]
    blocks = list(render_blocks(pieces, 6_144_000, 44_100, full_scale=512, block=block))
    assert {b.shape[0] for b in blocks[:-1]} <= {block}
    assert np.concatenate(blocks).tobytes() == whole.tobytes()
    assert whole.shape == (blocks[0].shape[0] if len(blocks) == 1 else sum(b.shape[0] for b in blocks), 3)


def test_channels_are_rendered_as_they_are_alone() -> None:
    channels = [noise_steps(k, 2_000, 400_000) for k in range(2)]
    both = render_channels(channels, 7_500_000, 48_000, full_scale=512)
    for k in range(2):
        assert np.array_equal(both[:, k], render_steps(channels[k], 7_500_000, 48_000, full_scale=512))


def test_the_sum_of_channels_is_the_rendering_of_the_sum() -> None:
    rng = np.random.default_rng(3)
    a, b = rng.integers(-99, 99, 500), rng.integers(-99, 99, 500)
    at = np.arange(500) * 731
    one, two, total = (steps_from_changes(at, levels, 500 * 731) for levels in (a, b, a + b))
    parts = [render_steps(s, 6_144_000, 44_100, full_scale=1) for s in (one, two)]
    assert parts[0] + parts[1] == pytest.approx(render_steps(total, 6_144_000, 44_100, full_scale=1), abs=1e-12)


@pytest.mark.parametrize("rate", [44_100, 48_000])
def test_each_change_adds_its_row_and_nothing_else(rate: int) -> None:
    # The slow definition in Python integers: one row per change at its exact phase, then a running sum.
    design = kernel.design_for_rate(rate)
    grid = Fraction(rate, 100_000)
    steps = noise_steps(9, 300, 40_000)
    samples = -(-40_000 * grid // 1)
    differences = [0] * (samples + 400)
    previous = int(steps.level[0])
    for cycle, level in zip(steps.cycle.tolist(), steps.level.tolist(), strict=True):
        cell, phase = divmod(cycle * grid, 1)
        row = kernel.exact_rows(design, phase.denominator)[phase.numerator]
        for tap, value in enumerate(row.tolist()):
            differences[200 + int(cell) + design.first_tap + tap] += (level - previous) * value
        previous = level
    expected, running = [], int(steps.level[0]) * 2**34
    for difference in differences:
        running += difference
        expected.append(running / 2**34)
    found = render_steps(steps, 100_000, rate, full_scale=1)
    assert found == pytest.approx(np.array(expected[200 : 200 + samples]), abs=1e-12)


@pytest.mark.parametrize("rate", [44_100, 48_000])
def test_float_and_integer_sums_give_the_same_bytes(rate: int, monkeypatch: pytest.MonkeyPatch) -> None:
    steps = noise_steps(4, 20_000, 900_000)
    in_floats = render_steps(steps, 6_144_000, rate, full_scale=511)
    monkeypatch.setattr(scatter, "_EXACT_FLOAT", 0)
    assert render_steps(steps, 6_144_000, rate, full_scale=511).tobytes() == in_floats.tobytes()


def test_levels_of_28_bits_are_rendered_exactly() -> None:
    small = noise_steps(6, 3_000, 90_000, size=2)
    large = Steps(small.cycle, small.level * np.int32(2**26), small.end)
    assert np.array_equal(
        render_steps(large, 6_144_000, 48_000, full_scale=2**26), render_steps(small, 6_144_000, 48_000, full_scale=1)
    )


def test_memory_does_not_grow_with_the_length_of_a_stream() -> None:
    def stream(pieces: int) -> Iterator[list[Steps]]:
        for k in range(pieces):
            yield [noise_steps(k, 20_000, 614_400, start=k * 614_400)]

    def peak(pieces: int) -> int:
        tracemalloc.start()
        count = sum(b.shape[0] for b in render_blocks(stream(pieces), 6_144_000, 48_000, full_scale=512))
        highest = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        assert count == pieces * 4_800
        return highest

    peak(2)  # tables of the kernel
    assert peak(80) < peak(20) + 2_000_000
    assert peak(80) < 60_000_000


def test_a_stream_that_ends_is_held_at_its_last_level_and_can_still_go_on() -> None:
    renderer = StepsRenderer(6_144_000, 48_000, full_scale=1)
    first = renderer.push(constant_steps(1, 0, 128_000))
    assert np.array_equal(renderer.finish(), np.ones(1_000 - first.size))
    second = renderer.push(constant_steps(1, 128_000, 256_000))
    assert np.array_equal(second, np.ones(1_000))
    assert first.size >= 1_000 - renderer.delay


def test_empty_pieces_change_nothing() -> None:
    steps = noise_steps(1, 100, 50_000)
    renderer = StepsRenderer(6_144_000, 48_000, full_scale=511)
    parts = [renderer.push(p) for p in (empty_steps(0), steps, empty_steps(50_000))]
    assert np.array_equal(
        np.concatenate([*parts, renderer.finish()]), render_steps(steps, 6_144_000, 48_000, full_scale=511)
    )


UNKNOWN = steps_from_changes([0, 1_000, 2_000, 3_000], [5, 0, 7, 0], 9_000, unknown=[False, True, False, True])


def test_unknown_levels_are_refused_unless_the_caller_says_what_to_hold() -> None:
    with pytest.raises(AudioError, match=r'level is not known at cycle 1000 \(unknown="last" holds the last known'):
        render_steps(UNKNOWN, 6_144_000, 48_000, full_scale=1)
    last = steps_from_changes([0, 2_000], [5, 7], 9_000)
    zero = steps_from_changes([0, 1_000, 2_000, 3_000], [5, 0, 7, 0], 9_000)
    for named, meant in [("last", last), (0, zero)]:
        found = render_steps(UNKNOWN, 6_144_000, 48_000, full_scale=1, unknown=named)
        assert np.array_equal(found, render_steps(meant, 6_144_000, 48_000, full_scale=1))


def test_the_last_known_level_is_remembered_from_piece_to_piece() -> None:
    renderer = StepsRenderer(6_144_000, 48_000, full_scale=1, unknown="last")
    parts = [renderer.push(UNKNOWN.cut(a, a + 500)) for a in range(0, 9_000, 500)]
    whole = render_steps(UNKNOWN, 6_144_000, 48_000, full_scale=1, unknown="last")
    assert np.array_equal(np.concatenate([*parts, renderer.finish()]), whole)


def test_a_signal_that_begins_unknown_has_no_level_to_hold() -> None:
    begins = UNKNOWN.cut(1_500, 9_000)
    with pytest.raises(AudioError, match=r"no level is known yet at cycle 1500.*name start_level"):
        render_steps(begins, 6_144_000, 48_000, full_scale=1, unknown="last")
    held = render_steps(begins, 6_144_000, 48_000, full_scale=1, unknown="last", start_level=7)
    assert np.array_equal(held, np.full(held.size, 7.0))


@pytest.mark.parametrize(
    ("clock_hz", "rate", "full_scale", "message"),
    [
        (6.144e6, 48_000, 1, r"clock rate 6144000\.0 is not exact \(give hertz as an int"),
        (0, 48_000, 1, r"clock rate 0 Hz is not above 0"),
        (6_144_000, 48_000.5, 1, r"sample rate 48000\.5 is not an integer"),
        (6_144_000, 7_999, 1, r"sample rate 7999 Hz is not in 8000 to 768000 Hz"),
        (6_144_000, 48_000, 0, r"full scale 0 is not a level above 0"),
        (6_144_000, 48_000, float("nan"), r"full scale nan is not a level above 0"),
        (Fraction(10**15 + 1, 10**7), 48_000, 1, r"is the ratio 480000000000/1000000000000001, finer than 1 / 2\*\*36"),
    ],
)
def test_rates_that_cannot_be_used_are_refused(clock_hz: object, rate: object, full_scale: float, message: str) -> None:
    with pytest.raises(AudioError, match=message):
        render_steps(constant_steps(0, 0, 10), clock_hz, rate, full_scale=full_scale)


def test_levels_too_large_to_stay_exact_are_refused() -> None:
    with pytest.raises(
        AudioError, match=r"level 134217729 is too large to render exactly: at most 134217728 \(2\*\*27"
    ):
        render_steps(constant_steps(2**27 + 1, 0, 10), 6_144_000, 48_000, full_scale=1)
    with pytest.raises(AudioError, match=r"start level -134217729 is too large"):
        render_steps(constant_steps(0, 0, 10), 6_144_000, 48_000, full_scale=1, start_level=-(2**27) - 1)
    assert render_steps(constant_steps(-(2**27), 0, 10), 6_144_000, 48_000, full_scale=2**27)[0] == -1.0


def test_pieces_that_leave_a_gap_are_refused() -> None:
    renderer = StepsRenderer(6_144_000, 48_000, full_scale=1)
    renderer.push(constant_steps(1, 100, 200))
    with pytest.raises(AudioError, match=r"a piece from cycle 201 does not follow one that ended at cycle 200"):
        renderer.push(constant_steps(1, 201, 300))


def test_channels_that_do_not_belong_together_are_refused() -> None:
    one, other = constant_steps(1, 0, 100), constant_steps(1, 0, 101)
    with pytest.raises(AudioError, match=r"channel 2 covers cycles 0 to 101, channel 1 covers 0 to 100 \(cut all"):
        render_channels([one, other], 6_144_000, 48_000, full_scale=1)
    with pytest.raises(AudioError, match=r"no channels to render"):
        render_channels([], 6_144_000, 48_000, full_scale=1)
    later = [constant_steps(1, 100, 200)]
    with pytest.raises(AudioError, match=r"a piece of 1 channels follows one of 2"):
        list(render_blocks([[one, one], later], 6_144_000, 48_000, full_scale=1))
    with pytest.raises(AudioError, match=r"a block of 0 samples holds nothing"):
        list(render_blocks([[one]], 6_144_000, 48_000, full_scale=1, block=0))
