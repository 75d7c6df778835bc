"""Shrinking with a real simulator: Icarus Verilog runs Linnet's RTL with one fault of the library."""

from __future__ import annotations

import shlex
import sys
import time
from dataclasses import replace
from pathlib import Path
from statistics import median

import pytest

from psgmodel.chip import load_chip
from psgmodel.diagnose.shrinking import Outcome, ShrinkError, SimulatorState, parse_command, shrink
from psgmodel.diagnose.shrinking.simulator import Same, check_rows, rows_text
from psgmodel.dump.signal_map import load_map
from psgmodel.reglog import RegisterLog, make_log
from tests.diagnose.hand_made_log import hand_made_log
from tests.quality.fault_library import load_faults
from tests.quality.fault_logs import provoking_log
from tests.rtl.simulate import LINNET, build_icarus

CHIP = load_chip("patches/linnet.toml")
MAP = load_map("patches/linnet-bench.toml", CHIP)
ROW = "{cycle} w {address} {value}"


def command_of(fault: str, folder: Path) -> str:
    rtl = folder / f"{fault}.v"
    rtl.write_text(load_faults()[fault].rtl(), encoding="utf-8")
    built = build_icarus(rtl, folder / "built")
    return f"vvp -N {built} +noclk +log={{log}} +dump={{dump}} +cycles={{cycles}}"


def simulator(command: str, *, same: Same = "signal", row: str | None = ROW, timeout: float = 60.0) -> SimulatorState:
    words = parse_command(command)
    return SimulatorState(words, CHIP, MAP, row=row, same=same, timeout_seconds=timeout, clock=time.perf_counter)


def test_a_mixer_that_weighs_b_wrongly_needs_a_volume_and_a_start_of_b(tmp_path: Path) -> None:
    # From linnet.md: position 0 of every pattern is 1, so B sounds as soon as it has a volume and starts. The write at
    # cycle 0 is the volume, the start at 1 acts at 2, the registered mixer shows it at 3, and the dump holds that level
    # up to the edge of cycle 4, which is the last of a log that ends at 5.
    found = shrink(CHIP, hand_made_log(), simulator(command_of("mixer-b-gain", tmp_path)), max_runs=120)
    assert found.minimal
    assert found.log.cycle.tolist() == [0, 1]
    assert found.log.address.tolist() == [0x12, 0x16]
    assert found.log.value.tolist() == [1, 1]
    assert found.verdict.cycle == 3
    assert found.log.end in (4, 5)
    assert found.verdict.text.startswith("left, cycle 3 ")


def test_a_failure_of_another_signal_or_kind_is_not_taken_for_the_same(tmp_path: Path) -> None:
    command = command_of("pattern-one-bit-more", tmp_path)
    writes = [
        (0, 0x10, 3),
        (1, 0x11, 0x20),
        (2, 0x12, 9),
        (3, 0x16, 1),
        (900, 0x09, 0x20),
        (901, 0x0A, 9),
        (902, 0x0E, 1),
    ]
    both = make_log([w[0] for w in writes], [w[1] for w in writes], [w[2] for w in writes], end=1200)
    only_a = both.cut(500, 1200)
    expected: list[tuple[Same, Outcome]] = [("signal", Outcome.PASSES), ("any", Outcome.FAILS)]
    for same, outcome in expected:
        run = simulator(command, same=same)
        first = run(both)
        assert (first.outcome, first.text[:2]) == (Outcome.FAILS, "b,")
        assert run(only_a).outcome is outcome


def test_the_same_kind_of_failure_can_be_asked_for(tmp_path: Path) -> None:
    # Pattern 2 has nine high positions where eight are right: at the ninth B sounds and should not. With a volume of 0
    # at that moment nothing differs, so every failure of B is of this kind; the mixer fault halves levels instead.
    writes = [(0, 0x10, 3), (1, 0x11, 0x20), (2, 0x12, 9), (3, 0x16, 1)]
    log = make_log([w[0] for w in writes], [w[1] for w in writes], [w[2] for w in writes], end=300)
    run = simulator(command_of("pattern-one-bit-more", tmp_path), same="kind")
    verdict = run(log)
    assert run.failure is not None
    assert (run.failure.signal, run.failure.kind) == ("b", "sounds")
    # From linnet.md: the start acts at 4, a step lasts 2 * (3 + 1) cycles, the ninth position follows eight steps.
    assert verdict.cycle == 4 + 8 * 8
    run.failure = replace(run.failure, kind="level")
    assert run(log).outcome is Outcome.PASSES


def test_a_bench_that_plays_the_log_some_cycles_late_is_judged_by_what_its_bus_carried(tmp_path: Path) -> None:
    right = (
        f"vvp -N {build_icarus(LINNET, tmp_path / 'built')} +noclk +log={{log}}.late +dump={{dump}} +cycles={{cycles}}"
    )
    late = "awk '{{ print $1 + 7, $2, $3, $4 }}' {log} > {log}.late"
    log = make_log([0, 10, 12], [0x10, 0x12, 0x16], [3, 9, 1], end=600)
    run = simulator(f"sh -c {shlex.quote(f'{late}; exec {right}')}")
    assert run(log).text == "unit and model agree"


def test_what_can_be_done_meanwhile_is_done_while_the_command_runs(tmp_path: Path) -> None:
    waits = f"while [ ! -e {tmp_path}/go ]; do sleep 0.01; done"
    run = simulator(f"sh -c '{waits}; cat {{log}} > {tmp_path}/seen' x {{dump}}")
    run.meanwhile = (tmp_path / "go").touch
    assert run(make_log([1], [0x0A], [1], end=50)).outcome is Outcome.UNRESOLVED
    assert (tmp_path / "seen").read_text(encoding="utf-8") == "1 w 10 1\n"


@pytest.mark.long
def test_single_faults_shrink_to_six_writes_in_the_median_and_fifteen_at_worst_in_500_runs(tmp_path: Path) -> None:
    faults = ("mixer-b-gain", "pattern-reversed", "noise-reseeds", "envelope-steps-by-two", "noise-short-tap-moved")
    sizes = []
    for fault in faults:
        run = simulator(command_of(fault, tmp_path))
        logs = (provoking_log(seed, 60_000) for seed in range(6))
        log = next(log for log in logs if run(log).outcome is Outcome.FAILS)
        found = shrink(CHIP, log, run, max_runs=500)
        assert found.runs <= 500
        sizes.append(len(found.log))
    assert median(sizes) <= 6
    assert max(sizes) <= 15


def test_what_is_no_comparison_is_unresolved_and_never_a_pass(tmp_path: Path) -> None:
    log = make_log([1], [0x0A], [1], end=50)
    python = f"{sys.executable} -c"
    nothing = simulator(f"{python} 'print(7); raise SystemExit(3)' {{log}} {{dump}}")(log)
    assert nothing.outcome is Outcome.UNRESOLVED
    assert nothing.text == "the command left no dump (status 3: 7)"
    cut = simulator(f"""{python} "import sys; open(sys.argv[1], 'w').write('$var')" {{dump}} {{log}}""")(log)
    assert cut.outcome is Outcome.UNRESOLVED
    assert cut.text.startswith("the dump cannot be read: ")
    slow = simulator(f"{python} 'import time; time.sleep(60)' {{log}} {{dump}}", timeout=0.2)(log)
    assert slow.text == "the command left no dump, and was ended after 0.2 s"
    other = tmp_path / "other.log"
    other.write_text("2 w 10 1\n", encoding="utf-8")
    deaf = command_of("mixer-b-gain", tmp_path).replace("+log={log}", f"+log={other} +ignored={{log}}")
    found = simulator(deaf)(make_log([1, 3], [0x0A, 0x0B], [1, 2], end=50))
    assert found.outcome is Outcome.UNRESOLVED
    assert "the bench does not play the log" in found.text


def test_the_dump_of_one_run_is_never_taken_for_that_of_the_next_and_nothing_stays_behind(tmp_path: Path) -> None:
    once = command_of("mixer-b-gain", tmp_path) + f"; rm -f {tmp_path}/it"
    (tmp_path / "it").write_text("", encoding="utf-8")
    run = simulator(f"sh -c 'echo {{dump}} > {tmp_path}/where; test -e {tmp_path}/it && {{{{ {once}; }}}}' x {{log}}")
    log = make_log([1], [0x0A], [1], end=50)
    assert run(log).outcome is Outcome.PASSES
    assert run(log).text == "the command left no dump (status 1)"
    folder = Path((tmp_path / "where").read_text(encoding="utf-8").strip()).parent
    assert folder.is_dir()
    del run
    assert not folder.exists()


@pytest.mark.parametrize(
    ("template", "message"),
    [
        ("vvp {log}", "the command has no {dump}"),
        ("vvp", "the command has no {log} and no {dump}"),
        ("", "the command has no {log} and no {dump}"),
        ("vvp {log} {dumb}", 'no place "{dumb}" in "{dumb}" (did you mean "dump"?)'),
        ("vvp {log} {dump} {}", 'no place "{}"'),
        ("vvp {log!r} {dump}", '"r" is no format of a number'),
        ("vvp {log} {dump", "expected '}' before end of string"),
        ("vvp '{log} {dump}", "the command cannot be split into words: No closing quotation"),
    ],
)
def test_a_command_with_wrong_places_is_told(template: str, message: str) -> None:
    with pytest.raises(ShrinkError) as caught:
        parse_command(template)
    assert message in str(caught.value)


def test_a_command_that_is_not_there_is_told() -> None:
    with pytest.raises(ShrinkError, match="cannot start no-such-simulator: No such file"):
        simulator("no-such-simulator {log} {dump}")(make_log([1], [8], [1]))


def test_rows_are_what_the_bench_reads() -> None:
    log: RegisterLog = make_log([1, 20], [0x0A, 0x40], [255, 7])
    assert rows_text(log, "{cycle} w {address} {value}") == "1 w 10 255\n20 w 64 7\n"
    assert rows_text(log, "@{cycle:06d} {address:02X}={value:08b}") == "@000001 0A=11111111\n@000020 40=00000111\n"
    for row, message in (
        ("{cycle} {address}", "no {value}"),
        ("{cycle.real} {address} {value}", 'no place "{cycle.real}"'),
        ("{cycle:>9} {address} {value}", '">9" is no format of a number'),
    ):
        with pytest.raises(ShrinkError, match=r"place|format|row") as caught:
            check_rows(row)
        assert message in str(caught.value)
