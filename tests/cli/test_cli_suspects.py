"""The command `suspects` on dumps that Icarus Verilog made of Linnet's RTL: what it says, statuses, time, errors."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.benches import dump_of, writes_of
from tests.cli.commands import AT_ONCE, CHIP, PATCHES, TINY, run, run_here, run_on_terminal
from tests.quality.fault_library import load_faults
from tests.rtl.simulate import build_icarus, simulate

MAP = str(PATCHES / "linnet-bench.toml")
CYCLES = 100_000
NOTES_OF_B = [
    (0, 0x10, 20),
    (1, 0x11, 0x20),
    *((4_000 * n + 2 + k, a, v) for n in range(5) for k, a, v in ((0, 0x12, 20 + n), (1, 0x16, 1))),
]
"""Five notes of B: cycle, address, value (patches/linnet.md, section 4)."""
NOTES_END = 20_000


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("bench")
    dump_of(writes_of(Path(TINY)), CYCLES, folder / "tiny.vcd")
    dump_of([], CYCLES, folder / "still.vcd")
    text = Path(CHIP).read_text(encoding="utf-8")
    (folder / "wrong.toml").write_text(text.replace('"1111111100000000"', '"1111111000000000"'), encoding="utf-8")
    whole = (folder / "tiny.vcd").read_bytes()
    (folder / "cut.vcd").write_bytes(whole[: len(whole) // 2 + 1].rsplit(b"\n", 1)[0] + b"\nb101")
    return folder


def faulty(name: str, folder: Path) -> str:
    """Simulate the RTL with one fault of the library over the notes of B; return the name of the dump."""
    rtl = folder / f"{name}.v"
    rtl.write_text(load_faults("linnet")[name].rtl(), encoding="utf-8")
    writes = [(cycle, "w", address, value) for cycle, address, value in NOTES_OF_B]
    simulate(build_icarus(rtl, folder / "built"), writes, NOTES_END, folder / f"{name}.vcd", clock=False)
    return f"{name}.vcd"


def words(dump: str, chip: str = CHIP) -> list[str]:
    return ["suspects", dump, "--chip", chip, "--map", MAP]


def test_a_wrong_description_is_put_right_in_a_sentence_and_the_status_is_1(bench: Path) -> None:
    found = run(words("tiny.vcd", "wrong.toml"), bench)
    assert (found.status, found.err) == (1, "")
    told = " ".join(found.out.split())
    assert told.startswith('The dump behaves as if `channel.a.patterns[2] = "1111111100000000"` instead of ')
    assert '`"1111111000000000"`: explains all ' in told
    assert "first difference: a, cycle " in told
    assert "single changes tried." in told


def test_wrong_rtl_is_explained_as_if_the_description_were_another_one(bench: Path) -> None:
    found = run_here(words(faulty("b-starts-late", bench)), bench)
    assert (found.status, found.err) == (1, "")
    told = " ".join(found.out.split())
    assert told.startswith("The dump behaves as if `channel.b.start_delay = 4` instead of `1`: explains all ")


def test_rtl_that_no_description_describes_gets_no_cause_but_a_block(bench: Path) -> None:
    found = run_here(words(faulty("square-glitches", bench)), bench)
    assert (found.status, found.err) == (1, "")
    told = " ".join(found.out.split())
    assert told.startswith("Nothing in the description language explains this: no change of an option, ")
    assert "kind one-cycle glitch: " in told
    assert "block perhaps patterns: " in told
    assert "as if" not in told
    assert run_here([*words("square-glitches.vcd"), "--json"], bench).document["result"]["certainty"] == "nothing"


def test_two_things_wrong_at_once_are_told_together_and_only_where_pairs_are_tried(bench: Path) -> None:
    # Both in one channel: a pattern that never ends, and a start that acts two cycles later.
    text = Path(CHIP).read_text(encoding="utf-8").replace('"1111111100000000"', '"1111111000000000"')
    where = text.index("[channel.b]")
    text = text[:where] + text[where:].replace("start_delay = 1", "start_delay = 3", 1)
    (bench / "twice.toml").write_text(text, encoding="utf-8")
    writes = [(cycle, "w", address, value) for cycle, address, value in NOTES_OF_B]
    dump_of(writes, NOTES_END, bench / "b.vcd")
    found = run_here(words("b.vcd", "twice.toml"), bench)
    told = " ".join(found.out.split())
    assert found.status == 1
    assert "`channel.b.start_delay = 1` instead of `3`" in told.partition(":")[0]
    assert 'channel.b.patterns[2] = "1111111100000000"` instead of' in told.partition(":")[0]
    assert "No single change does." in told
    assert " on top of another." in told
    alone = run_here([*words("b.vcd", "twice.toml"), "--single"], bench)
    assert alone.status == 1
    assert alone.out.startswith("Nothing that was tried explains everything. The nearest: as if ")
    assert "on top of another" not in alone.out


def test_a_dump_that_agrees_leaves_nothing_to_explain_and_the_status_is_0(bench: Path) -> None:
    found = run(words("tiny.vcd"), bench)
    assert (found.status, found.err) == (0, "")
    assert found.out == "Nothing to explain: every known level agrees to the cycle.\n\n0 single changes tried.\n"


def test_a_dump_without_a_write_compares_nothing_and_the_status_is_3(bench: Path) -> None:
    found = run(words("still.vcd"), bench)
    assert (found.status, found.out) == (3, "NOTHING COMPARED  no write on the bus\n")


def test_json_has_the_suspects_with_keys_and_shares(bench: Path) -> None:
    found = run([*words("tiny.vcd", "wrong.toml"), "--json"], bench)
    assert found.status == 1
    result = found.document["result"]
    first = result["suspects"][0]
    assert first["changes"][0]["edits"] == [
        {"key": "channel.a.patterns[2]", "new": '"1111111100000000"', "old": '"1111111000000000"'}
    ]
    assert (first["share"], first["left_cycles"]) == (1.0, 0)
    assert result["divergence"]["name"] == "a"
    assert result["tried"]["single"] > 300


def test_the_search_keeps_to_its_time_and_says_that_it_was_stopped(bench: Path) -> None:
    found = run([*words("tiny.vcd", "wrong.toml"), "--seconds", "0.001"], bench)
    assert found.status == 1
    assert "1 single change tried; stopped before the end, so more may be found (--seconds)." in found.out


def test_progress_is_shown_on_a_terminal_and_gone_when_the_search_is_over(bench: Path) -> None:
    found = run_on_terminal([*words("tiny.vcd", "wrong.toml"), "--single"], bench, command=AT_ONCE)
    assert found.status == 1
    assert "The dump behaves as if" in found.out
    assert "trying changes  " in found.err
    assert found.err.rstrip(" ").endswith("\r")


@pytest.mark.parametrize(
    ("more", "message"),
    [
        (["cut.vcd"], "cut.vcd"),
        (["none.vcd"], "none.vcd: cannot be opened: No such file or directory"),
        (["tiny.vcd", "--seconds", "0"], "suspects: --seconds 0, accepted: more than 0"),
        (["tiny.vcd", "--latency", "soon"], 'suspects: --latency "soon" is neither a number of cycles nor auto'),
        (["tiny.vcd", "--map", "none.toml"], "none.toml: cannot read"),
    ],
)
def test_unusable_input_exits_2_and_is_told_on_standard_error(more: list[str], message: str, bench: Path) -> None:
    given = ["suspects", *more, "--chip", CHIP]
    found = run(given if "--map" in more else [*given, "--map", MAP], bench)
    assert (found.status, found.out) == (2, "")
    assert message in found.err


def test_compare_tells_the_first_difference_at_length(bench: Path) -> None:
    found = run(["compare", "tiny.vcd", "--chip", "wrong.toml", "--map", MAP], bench)
    assert found.status == 1
    # The log's note starts at 137 and steps every 872 cycles; at 137 + 7 x 872 Linnet's pattern 2 is still high.
    assert "first difference: a, bench.level_a\n  cycle 6241, " in found.out
    assert "\n  kind  wrong pattern: " in found.out
    assert "\n  cycle  0  137  |  6241  7113  " in found.out
    assert "\n  model  0   31  |     0     0  " in found.out
    assert "\n  dump   0   31  |    31     0  " in found.out
    assert "\n    phase       position 6, pattern 2\n" in found.out
