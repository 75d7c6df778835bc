"""The command `compare` on dumps that Icarus Verilog made of Linnet's RTL: verdicts, statuses, files."""

from __future__ import annotations

import json
import subprocess
from functools import partial
from pathlib import Path

import pytest

from psgmodel.comparison.kept import Bounds
from tests.cli.benches import dump_of, writes_of
from tests.cli.commands import CHIP, COMMAND, PATCHES, TINY, environment, run, run_here, run_on_terminal

MAP = str(PATCHES / "linnet-bench.toml")
CYCLES = 100_000


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("bench")
    tiny = writes_of(Path(TINY))
    dump_of(tiny, CYCLES, folder / "tiny.vcd")
    dump_of(tiny, 40_000, folder / "clocked.vcd", clock=True)
    dump_of([], CYCLES, folder / "still.vcd")
    whole = (folder / "tiny.vcd").read_bytes()
    (folder / "cut.vcd").write_bytes(whole[: len(whole) // 2 + 1].rsplit(b"\n", 1)[0] + b"\nb101")
    text = Path(CHIP).read_text(encoding="utf-8")
    (folder / "wrong.toml").write_text(text.replace('"1111111100000000"', '"1111111000000000"'), encoding="utf-8")
    return folder


def words(dump: str, chip: str = CHIP) -> list[str]:
    return ["compare", dump, "--chip", chip, "--map", MAP]


def test_a_simulation_that_does_what_the_description_says_agrees_and_exits_0(bench: Path) -> None:
    found = run([*words("tiny.vcd"), "--log", TINY], bench)
    assert (found.status, found.err) == (0, "")
    assert found.out.startswith("AGREE  tiny.vcd does what Linnet says, to the cycle\n")
    assert "100000 of 100000 cycles (100 %) and 8 of 8 writes" in " ".join(found.out.split())


def test_a_wrong_description_differs_exits_1_and_names_signal_cycle_levels_and_writes(bench: Path) -> None:
    # Worked out from linnet.md: the start written at cycle 136 acts at 137; a step of A lasts 2 * (0x1B3 + 1) cycles;
    # the wrong pattern has a 0 where Linnet has its eighth 1, at position 7.
    first = 137 + 7 * 2 * (0x1B3 + 1)
    found = run(words("tiny.vcd", "wrong.toml"), bench)
    assert (found.status, found.err) == (1, "")
    assert found.out.startswith(f"DIFFER  tiny.vcd departs from Linnet: a first, at cycle {first} ")
    assert f"\n  cycle {first}, {first / 6_144_000:.9f} s, dump time {81 + 162 * (5 + first)}\n" in found.out
    assert "\n  expected 0, found 31\n" in found.out
    assert "\n    cycle 136  A_GO 0x0E: a.start\n" in found.out
    assert "as a channel does" in found.out


@pytest.mark.parametrize(
    "given",
    [
        words("tiny.vcd"),
        [*words("tiny.vcd"), "--log", TINY, "--whole"],
        words("tiny.vcd", "wrong.toml"),
        words("still.vcd"),
        words("cut.vcd"),
        ["compare", "clocked.vcd", "--chip", CHIP, "--log", TINY],
    ],
    ids=" ".join,
)
def test_a_large_dump_which_is_compared_in_pieces_is_told_like_a_small_one(
    given: list[str], bench: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    small = run_here(given, bench), run_here([*given, "--json"], bench)
    monkeypatch.setattr("psgmodel.comparison.pieces.LARGE_BYTES", 1)
    assert (run_here(given, bench), run_here([*given, "--json"], bench)) == small


def test_of_a_large_dump_that_differs_it_is_told_what_was_looked_at(
    bench: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    given = words("tiny.vcd", "wrong.toml")
    small, small_json = run_here(given, bench), run_here([*given, "--json"], bench)
    monkeypatch.setattr("psgmodel.comparison.pieces.LARGE_BYTES", 1)
    monkeypatch.setattr("psgmodel.comparison.pieces.SPAN_CYCLES", 1000)
    monkeypatch.setattr("psgmodel.comparison.pieces.Bounds", partial(Bounds, opening=10, entries=40))
    large, large_json = run_here(given, bench), run_here([*given, "--json"], bench)
    assert (large.status, large.err) == (small.status, small.err) == (1, "")
    found, expected = json.loads(large_json.out)["result"], json.loads(small_json.out)["result"]
    assert found["reasons"] == expected["reasons"]
    assert found["first_divergence"]["kind"] == expected["first_divergence"]["kind"]
    assert found["first_divergence"]["window"] == expected["first_divergence"]["window"]
    (note,) = [n for n in found["notes"] if n not in expected["notes"]]
    assert note in " ".join(large.out.split())
    part = found["signals"][0]["spectral"]
    assert 0 <= part["start"] < part["end"] < CYCLES - 1
    assert f"\n  a, cycles {part['start']} to {part['end']}: " in large.out
    assert "\n  a: " in small.out


def test_a_dump_without_a_write_compares_nothing_and_exits_3(bench: Path) -> None:
    found = run_here(words("still.vcd"), bench)
    assert found.status == 3
    assert found.out.startswith("NOTHING COMPARED  still.vcd with Linnet\n")
    assert "no write on the bus" in found.out


@pytest.mark.parametrize(
    ("more", "message"),
    [
        (["cut.vcd"], "cut.vcd"),
        (["none.vcd"], "none.vcd: cannot be opened: No such file or directory"),
        ([TINY], "tiny.csv"),
        (["tiny.vcd", "--map", "none.toml"], "none.toml: cannot read"),
        (["tiny.vcd", "--latency", "soon"], '--latency "soon" is neither a number of cycles nor auto'),
        (["tiny.vcd", "--picture", "x.pdf"], '"x.pdf" does not say which kind of picture it is'),
        (["tiny.vcd", "--clock", "clk", "--period", "162"], "--clock is for a dump with the clock"),
        (["tiny.vcd", "--period", "0"], "--period is 1 or more"),
        (["tiny.vcd", "--band-limit", "-1"], "band_limit_db -1.0, accepted: 0 or more"),
        (["tiny.vcd", "--judge", "ear"], "argument --judge: invalid choice: 'ear'"),
    ],
)
def test_unusable_input_exits_2_and_is_told_on_standard_error(more: list[str], message: str, bench: Path) -> None:
    given = ["compare", *more, "--chip", CHIP]
    found = run_here(given if "--map" in more or "--clock" in more else [*given, "--map", MAP], bench)
    assert found.status == 2
    assert found.out == ""
    assert message in found.err
    assert all(line.startswith("psgmodel: error: ") for line in found.err.splitlines())


def test_a_dump_with_its_clock_needs_no_map_and_every_guess_is_told(bench: Path) -> None:
    found = run_here(["compare", "clocked.vcd", "--chip", CHIP], bench)
    assert found.status == 0
    for part in ("clock: bench.clk", "reset: bench.rst", "write strobe: bench.wr", "channel a: bench.level_a"):
        assert f"guessed  {part}" in found.out


def test_options_stand_in_for_a_map(bench: Path) -> None:
    given = ["compare", "tiny.vcd", "--chip", CHIP, "--period", "162", "--phase", "81", "--reset", "rst"]
    assert run_here(given, bench).status == 0
    assert run_here([*given, "--reset-active", "low"], bench).status in (1, 2, 3)
    assert run_here(["compare", "tiny.vcd", "--chip", CHIP, "--period", "161", "--phase", "81"], bench).status == 2


def test_a_log_that_the_bench_was_not_given_differs(bench: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.csv"
    other.write_text(Path(TINY).read_text(encoding="utf-8").replace("72,0x0A,0x9F", "72,0x0A,0x9E"), encoding="utf-8")
    found = run_here([*words("tiny.vcd"), "--log", str(other)], bench)
    assert found.status == 1
    assert "1 write of the log missing on the bus" in found.out
    assert run_here([*words("tiny.vcd"), "--log", TINY], bench).status == 0


def test_a_dump_of_part_of_the_log_passes_unless_the_whole_is_asked_for(bench: Path) -> None:
    given = ["compare", "clocked.vcd", "--chip", CHIP, "--log", TINY]
    found = run_here(given, bench)
    assert found.status == 0
    assert "40000 of 100000 cycles (40 %) and 8 of 8 writes of the log" in " ".join(found.out.split())
    found = run_here([*given, "--whole"], bench)
    assert found.status == 1
    assert "the dump covers only 40000 of 100000 cycles" in " ".join(found.out.split())


def test_json_holds_the_verdict_and_everything_it_rests_on(bench: Path) -> None:
    found = run_here([*words("tiny.vcd", "wrong.toml"), "--json"], bench)
    assert found.status == 1
    document = found.document
    assert (document["status"], document["command"]) == (1, "compare")
    assert document["result"]["status"] == "differ"
    assert document["result"]["first_to_differ"] == "a"
    assert {s["name"] for s in document["result"]["signals"]} == {"a", "b", "wave", "noise", "left", "right"}


def test_a_dump_comes_from_standard_input_too(bench: Path) -> None:
    with (bench / "tiny.vcd").open("rb") as stream:
        done = subprocess.run(
            [*COMMAND, *words("-")],
            cwd=bench,
            stdin=stream,
            capture_output=True,
            text=True,
            env=environment(),
            check=False,
        )
    assert done.returncode == 0
    assert done.stdout.startswith("AGREE  - does what Linnet says")


def test_the_verdict_is_green_red_or_yellow_on_a_terminal_and_the_reading_is_clean(bench: Path) -> None:
    assert run_on_terminal(words("tiny.vcd"), bench).out.startswith("\x1b[1;32mAGREE\x1b[0m  ")
    assert run_on_terminal(words("tiny.vcd", "wrong.toml"), bench).out.startswith("\x1b[1;31mDIFFER\x1b[0m  ")
    assert run_on_terminal(words("still.vcd"), bench).out.startswith("\x1b[33mNOTHING COMPARED\x1b[0m  ")


def test_a_picture_is_written_after_the_verdict(bench: Path, tmp_path: Path) -> None:
    found = run_here([*words("clocked.vcd", "wrong.toml")[:4], "--picture", str(tmp_path / "x.png")], bench)
    assert found.status == 1
    assert found.out.startswith("DIFFER  ")
    assert found.out.endswith(f"\npicture  {tmp_path}/x.png\n")
    assert (tmp_path / "x.png").read_bytes().startswith(b"\x89PNG\r\n")


def test_a_picture_of_something_that_was_not_compared_is_refused(bench: Path) -> None:
    found = run_here([*words("tiny.vcd"), "--picture", "x.png", "--picture-of", "nois"], bench)
    assert found.status == 2
    assert (
        'no channel or output "nois" was compared, so there is no --picture of it (did you mean "noise"?)' in found.err
    )
    assert found.out.startswith("AGREE  ")
    assert not (bench / "x.png").exists()


def test_where_nothing_was_compared_there_is_no_picture_and_the_status_stays_3(bench: Path, tmp_path: Path) -> None:
    found = run_here([*words("still.vcd"), "--picture", str(tmp_path / "x.png")], bench)
    assert found.status == 3
    assert found.err == "psgmodel: no picture: nothing was compared\n"
    assert not (tmp_path / "x.png").exists()
