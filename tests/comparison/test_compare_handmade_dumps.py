"""Verdicts on dumps written by hand: the test knows where it put the fault."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path

import numpy as np
import pytest

from psgmodel.comparison import SpectralOptions, Status, compare
from psgmodel.dump.observe import observe
from psgmodel.dump.signal_map import parse_map
from psgmodel.engine import run
from psgmodel.errors import CompareError
from psgmodel.steps import steps_from_changes
from tests.comparison.dump_writer import PERIOD, PHASE, changes_of, write_dump
from tests.comparison.short_run import CHIP, CYCLES, NAMES, TRACE, WRITES, log_of, moved, signals_of


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_dump(tmp_path_factory.mktemp("dump") / "good.vcd", signals_of(TRACE), WRITES, CYCLES)


def test_a_dump_that_does_what_the_model_does_agrees_by_itself(good: Path) -> None:
    found = compare(CHIP, good)
    assert found.status is Status.AGREE
    assert found.exit_status == 0
    assert found.reasons() == ()
    assert [s.name for s in found.signals] == ["a", "b", "wave", "noise", "left", "right"]
    assert (found.coverage.cycles, found.coverage.writes, found.coverage.of_writes) == (CYCLES, 12, 12)
    assert found.skipped_edges == 5
    assert found.rule == (
        "sampled just before every rising edge of bench.clk; cycle 0 is the first edge that samples bench.rst = 0"
    )
    assert "channel wave: bench.level_w (named like it, 6 bits)" in found.guesses


def test_a_result_is_plain_data_as_json(good: Path) -> None:
    data = compare(CHIP, good).to_json()
    again = json.loads(json.dumps(data, allow_nan=False))
    assert again["status"] == "agree"
    assert again["exit_status"] == 0
    assert again["signals"][0]["exact"]["divergence"] is None


def test_a_trace_is_compared_as_it_is(good: Path) -> None:
    assert compare(TRACE, good).status is Status.AGREE
    other = run(CHIP, log_of([(c, a, 0x41 if a == 0x08 else v) for c, a, v in WRITES]))
    found = compare(other, good)
    assert found.status is Status.DIFFER
    assert found.first is not None
    assert found.first.name == "a"


def test_the_first_divergence_has_cycle_time_levels_and_the_writes_before_it(tmp_path: Path) -> None:
    wrong = [(c, 21 if (c == 9500 or c > 9500) and v == 20 else v) for c, v in signals_of(TRACE)["level_a"]]
    first = next(c for c, v in wrong if v == 21)
    last = max(c for c, v in wrong if v == 0)
    dump = write_dump(tmp_path / "d.vcd", signals_of(TRACE, level_a=wrong), WRITES, CYCLES)
    found = compare(CHIP, dump)
    assert found.exit_status == 1
    exact = found["a"].exact
    assert exact is not None
    assert exact.divergence is not None
    assert exact.differences is not None
    assert found.first is found["a"]
    at = exact.divergence
    assert (at.cycle, at.model_level, at.dump_level) == (first, 20, 21)
    assert at.seconds == pytest.approx(first / 6_144_000)
    assert at.dump_time == PHASE + first * PERIOD
    levels = np.repeat(TRACE["a"].level, TRACE["a"].durations())[: CYCLES - 1]
    assert exact.differences.cycles == int(np.count_nonzero(levels[first:] == 20))
    assert last > first
    assert [w.text for w in exact.writes] == [
        "A_PITCH 0x08: a.period[7:0] = 64",
        "A_TONE 0x09: a.pattern = 2, a.period[11:8] = 0",
        "A_NOTE 0x0A: a.timer.enable = 0, a.timer.length[8] = 0, a.volume = 20",
        "A_GO 0x0E: a.start",
        "A_TONE 0x09: a.pattern = 1, a.period[11:8] = 0",
    ]
    assert (
        found.reasons()[0]
        == f"a: cycle {first} ({first / 6_144_000:.9f} s, dump time {at.dump_time}): expected 20, found 21"
    )
    assert found["b"].agrees
    assert found["left"].agrees


def test_an_output_that_follows_a_faulty_channel_is_said_to(tmp_path: Path) -> None:
    quiet = run(CHIP, log_of([*WRITES[:2], (15, 0x0A, 0x13), *WRITES[3:]]))
    signals = signals_of(TRACE, level_a=changes_of(quiet["a"].cycle, quiet["a"].level))
    for name in ("left", "right"):
        signals[NAMES[name]] = changes_of(quiet[name].cycle, quiet[name].level)
    found = compare(CHIP, write_dump(tmp_path / "d.vcd", signals, WRITES, CYCLES))
    assert found.first is found["a"]
    assert [s.exact.follows_channels for s in found.signals if s.exact] == [False, False, False, False, True, True]
    assert "left: differs only because a channel does" in found.reasons()
    own = signals_of(
        TRACE,
        out_left=[(c, v ^ 1 if c > 15_000 and isinstance(v, int) else v) for c, v in signals_of(TRACE)["out_left"]],
    )
    found = compare(CHIP, write_dump(tmp_path / "e.vcd", own, WRITES, CYCLES))
    left = found["left"].exact
    assert found.first is found["left"]
    assert left is not None
    assert not left.follows_channels


def test_a_constant_latency_must_be_declared_or_asked_for_and_is_told(tmp_path: Path) -> None:
    late = {n: moved(c, 3) for n, c in signals_of(TRACE).items()}
    dump = write_dump(tmp_path / "d.vcd", late, WRITES, CYCLES)
    found = compare(CHIP, dump)
    assert found.status is Status.DIFFER
    assert found.reasons()[0] == "everything agrees if the dump is taken to be 3 cycles late"
    assert compare(CHIP, dump, latency=3).status is Status.AGREE
    assert compare(CHIP, dump, latency=2).status is Status.DIFFER
    auto = compare(CHIP, dump, latency="auto")
    assert auto.status is Status.AGREE
    assert auto.latency == 3
    assert "the dump is 3 cycles late; that was estimated, and is allowed" in auto.notes


def test_one_signal_with_a_latency_of_its_own_is_told_by_itself(tmp_path: Path) -> None:
    late = {n: moved(c, 1) if n.startswith("out") else c for n, c in signals_of(TRACE).items()}
    found = compare(CHIP, write_dump(tmp_path / "d.vcd", late, WRITES, CYCLES))
    assert found.agrees_at is None
    assert found.first is found["left"]
    exact = found["left"].exact
    assert exact is not None
    assert exact.agrees_at == 1
    assert exact.offset_change is None
    assert "left: agrees throughout if the dump is taken to be 1 cycle late" in found.reasons()


@pytest.mark.parametrize(("by", "word"), [(1, "later"), (-1, "earlier"), (40, "later"), (-40, "earlier")])
def test_an_offset_that_changes_on_the_way_is_no_constant_latency(tmp_path: Path, by: int, word: str) -> None:
    late = {n: moved(c, by, frm=6100) if n == "level_n" else c for n, c in signals_of(TRACE).items()}
    late["level_n"] = [
        (c, v) for i, (c, v) in enumerate(late["level_n"]) if c >= (late["level_n"][i - 1][0] if i else -9)
    ]
    dump = write_dump(tmp_path / "d.vcd", late, WRITES, CYCLES)
    for latency in (0, "auto"):
        found = compare(CHIP, dump, latency=latency)
        assert found.status is Status.DIFFER
        exact = found["noise"].exact
        assert exact is not None
        assert exact.offset_change is not None
        assert exact.offset_change.after - exact.offset_change.before == by
        told = [r for r in found.reasons() if "the offset changed at cycle" in r]
        assert len(told) == 1
        assert f"{abs(by)} cycle{'' if abs(by) == 1 else 's'} {word} than before" in told[0]


def test_an_offset_that_changes_on_top_of_a_declared_latency_is_told_with_both(tmp_path: Path) -> None:
    late = {n: moved(c, 3) for n, c in signals_of(TRACE).items()}
    late["level_n"] = moved(late["level_n"], 5, frm=6100)
    dump = write_dump(tmp_path / "d.vcd", late, WRITES, CYCLES)
    found = compare(CHIP, dump, latency=3)
    exact = found["noise"].exact
    assert exact is not None
    assert exact.offset_change is not None
    assert (exact.offset_change.before, exact.offset_change.after) == (3, 8)
    assert [s.agrees for s in found.signals] == [True, True, True, False, True, True]


def test_where_a_channel_and_an_output_differ_from_the_same_cycle_the_channel_is_first(tmp_path: Path) -> None:
    wrong = signals_of(TRACE)
    for name in ("out_left", "level_n"):
        wrong[name] = [e for e in wrong[name] if not 8000 <= e[0] < 8100]
        wrong[name] = sorted([*wrong[name], (8000, 1), (8100, 2)], key=lambda e: e[0])
    found = compare(CHIP, write_dump(tmp_path / "d.vcd", wrong, WRITES, CYCLES))
    left, noise = found["left"].exact, found["noise"].exact
    assert left is not None
    assert noise is not None
    assert left.divergence is not None
    assert noise.divergence is not None
    assert left.divergence.cycle == noise.divergence.cycle == 8000
    assert found.first is found["noise"]


def test_unknown_levels_before_the_reset_is_released_do_not_count_and_after_it_are_a_failure(tmp_path: Path) -> None:
    before = signals_of(TRACE)
    before["level_b"] = [(-5, "x"), (-2, 0), *before["level_b"][1:]]
    assert compare(CHIP, write_dump(tmp_path / "d.vcd", before, WRITES, CYCLES)).status is Status.AGREE
    after = signals_of(TRACE)
    after["level_b"] = sorted([*after["level_b"], (7000, "x"), (7010, 0)], key=lambda e: e[0])
    after["level_b"] = [e for e in after["level_b"] if not 7000 < e[0] < 7010]
    found = compare(CHIP, write_dump(tmp_path / "e.vcd", after, WRITES, CYCLES))
    assert found.status is Status.DIFFER
    exact = found["b"].exact
    assert exact is not None
    assert exact.divergence is not None
    assert exact.differences is not None
    assert (exact.divergence.cycle, exact.divergence.dump_level) == (7000, None)
    assert exact.differences.unknown_cycles == 10
    assert "b: unknown in 10 cycles after reset was released" in found.reasons()


def test_an_output_with_a_sample_strobe_is_compared_in_the_strobed_cycles(tmp_path: Path) -> None:
    levels = np.repeat(TRACE["left"].level, TRACE["left"].durations())
    strobes = np.arange(37, CYCLES - 1, 128)
    codes: list[tuple[int, int | str]] = [(-5, "x")]
    valid: list[tuple[int, int | str]] = [(-5, 0)]
    for c in strobes.tolist():
        codes += [(c, int(levels[c])), (c + 1, "x")]
        valid += [(c, 1), (c + 1, 0)]
    signals = {"level_a": signals_of(TRACE)["level_a"], "out_left": codes, "valid": valid}
    named = parse_map('[channels]\na = "level_a"\n[outputs]\nleft = { signal = "out_left", strobe = "valid" }\n', CHIP)
    found = compare(CHIP, write_dump(tmp_path / "d.vcd", signals, WRITES, CYCLES), signal_map=named)
    assert found.status is Status.AGREE, found.reasons()
    exact = found["left"].exact
    assert exact is not None
    assert exact.strobed
    assert found.not_compared == ("b", "wave", "noise", "right")
    at = int(strobes[70])
    wrong = [(c, int(v) ^ 4) if c == at and isinstance(v, int) else (c, v) for c, v in codes]
    found = compare(
        CHIP, write_dump(tmp_path / "e.vcd", {**signals, "out_left": wrong}, WRITES, CYCLES), signal_map=named
    )
    exact = found["left"].exact
    assert exact is not None
    assert exact.divergence is not None
    assert (exact.divergence.cycle, exact.divergence.model_level) == (at, int(levels[at]))
    # One sample lost on the way: code k is that of strobe k + 1 from there on.
    lost = [(c, int(levels[c + 128])) if at <= c < CYCLES - 200 and v != "x" else (c, v) for c, v in codes]
    found = compare(
        CHIP, write_dump(tmp_path / "f.vcd", {**signals, "out_left": lost}, WRITES, CYCLES), signal_map=named
    )
    exact = found["left"].exact
    assert exact is not None
    assert exact.offset_change is not None
    assert exact.offset_change.after == -128


def test_the_spectrum_decides_where_the_unit_is_not_meant_to_be_cycle_exact(tmp_path: Path) -> None:
    cycles = 100_000
    log = log_of(WRITES, cycles)
    trace = run(CHIP, log)
    late = {n: moved(c, 2, frm=6100) for n, c in signals_of(trace).items()}
    dump = write_dump(tmp_path / "d.vcd", late, [], cycles, bus=False)
    assert compare(CHIP, dump, log=log).status is Status.DIFFER
    found = compare(CHIP, dump, log=log, judge="spectrum")
    assert found.status is Status.AGREE, found.reasons()
    exact = found["noise"].exact
    assert exact is not None
    assert not exact.agrees
    quiet = run(CHIP, log_of([(c, a, 0x12 if a == 0x0A else v) for c, a, v in WRITES], cycles))
    signals = signals_of(trace, level_a=changes_of(quiet["a"].cycle, quiet["a"].level))
    dump = write_dump(tmp_path / "e.vcd", signals, [], cycles, bus=False)
    found = compare(CHIP, dump, log=log, judge="spectrum")
    assert found.status is Status.DIFFER
    # Volume 18 in the place of 20: 20 log10(18 / 20) = -0.92 dB.
    assert "a: the band at " in found.reasons()[0]
    assert "-0.92 dB off" in found.reasons()[0]
    loose = SpectralOptions(band_limit_db=1.0)
    assert compare(CHIP, dump, log=log, judge="spectrum", options=loose).status is Status.AGREE


@pytest.mark.parametrize("seed", range(12))
def test_one_wrong_cycle_anywhere_is_found_there_and_nowhere_else(good: Path, seed: int) -> None:
    rng = np.random.default_rng(seed)
    seen = observe(good, CHIP)
    which = seed % len(seen.signals)
    signal = seen.signals[which]
    cycle = int(rng.choice([0, CYCLES - 2, rng.integers(1, CYCLES - 2)]))
    levels = np.repeat(signal.steps.level, signal.steps.durations())
    expected = int(levels[cycle])
    levels[cycle] ^= 1 << int(rng.integers(0, 4))
    wrong = dataclasses.replace(signal, steps=steps_from_changes(np.arange(levels.size), levels, levels.size))
    signals = (*seen.signals[:which], wrong, *seen.signals[which + 1 :])
    found = compare(CHIP, dataclasses.replace(seen, signals=signals))
    assert found.status is Status.DIFFER
    assert [s.name for s in found.signals if not s.agrees] == [signal.name]
    exact = found[signal.name].exact
    assert exact is not None
    assert exact.divergence is not None
    assert exact.differences is not None
    assert (exact.divergence.cycle, exact.divergence.model_level) == (cycle, expected)
    assert exact.divergence.dump_level == int(levels[cycle])
    assert (exact.differences.cycles, exact.differences.stretches) == (1, 1)
    assert exact.offset_change is None
    assert not exact.follows_channels


def test_unusable_options_are_refused(good: Path) -> None:
    with pytest.raises(CompareError, match='judge "ear", accepted: exact, spectrum'):
        compare(CHIP, good, judge="ear")
    observation = observe(good, CHIP)
    assert compare(CHIP, observation).status is Status.AGREE
    with pytest.raises(CompareError, match="an observation has its own signal map"):
        compare(CHIP, observation, signal_map=parse_map("", CHIP))
    bare = dataclasses.replace(observation, log=None)
    with pytest.raises(CompareError, match="neither a register log nor a bus"):
        compare(CHIP, bare)
