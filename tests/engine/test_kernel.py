"""The compiled kernel: that it serves, what it is built from, what happens without it, and numbers up to 2^62.

That it gives the right answer is held by every test of this folder that names an engine or takes `agreed`.
"""

from __future__ import annotations

import dataclasses
import runpy
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from psgmodel.chip.channel import Channel, Envelope, ShiftRegister, StepClock, Sweep, Timer, WaveTable
from psgmodel.chip.options import choices_of, options_of
from psgmodel.chip.records import Mixer
from psgmodel.engine import fast, run
from psgmodel.engine.kernel import build
from psgmodel.engine.kernel.layout import FIELDS, MIXER, OPTIONS, STATE
from psgmodel.engine.kernel.library import Found, Library, find_kernel
from psgmodel.engine.state import ChannelState
from psgmodel.reglog import load_log, make_log
from psgmodel.steps import MAX_CYCLE
from tests.engine.engines import QUICK_ENGINES, agreed, assert_same_answer
from tests.engine.linnet_plays import linnet, table_of
from tests.engine.tiny_units import (
    CLOCK_SHIFT,
    DIVISOR,
    GLIDE,
    GO,
    LENGTH,
    PERIOD,
    SHIFT,
    START,
    VOLUME,
    tiny,
)

MOST_LINES_OF_A_FILE, MOST_LINES_OF_A_FUNCTION = 320, 60


def test_the_kernel_is_compiled_from_these_sources_and_serves() -> None:
    found = find_kernel()
    assert found.library is not None, f"{found.reason}; compile it: python -m psgmodel.engine.kernel"


def folder_like_the_kernels(to: Path) -> Path:
    for path in [*build.sources(), build.FOLDER / "build.py", build.FOLDER / "layout.py"]:
        shutil.copy(path, to)
    return to


def name_of_library_in(folder: Path) -> str:
    return str(runpy.run_path(str(folder / "build.py"))["library_name"]())


@pytest.mark.parametrize("changed", ["ticks.c", "kernel.h", "layout.py"])
def test_a_library_of_other_sources_has_another_name_and_so_is_not_loaded(tmp_path: Path, changed: str) -> None:
    folder = folder_like_the_kernels(tmp_path)
    assert name_of_library_in(folder) == build.library_name()
    path = folder / changed
    text = path.read_text(encoding="utf-8")
    path.write_text(
        text.replace('"sweep_fell",', '"fell",') if changed == "layout.py" else text + "\n", encoding="utf-8"
    )
    assert name_of_library_in(folder) != build.library_name()


def test_building_leaves_one_library_and_nothing_else(tmp_path: Path) -> None:
    folder = folder_like_the_kernels(tmp_path)
    before = {path.name for path in folder.iterdir()}
    (folder / "kernel-of-old.so").write_bytes(b"")
    made = runpy.run_path(str(folder / "build.py"))["build"]()
    assert made == folder / build.library_name()
    assert {path.name for path in folder.iterdir()} - before == {made.name}


def test_without_a_compiler_it_is_said_which_ones_were_looked_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(build, "COMPILERS", ("no-such-compiler",))
    with pytest.raises(build.NotBuiltError, match="no C compiler was found; looked for: no-such-compiler"):
        build.build(tmp_path)


def test_what_a_compiler_refuses_is_told(tmp_path: Path) -> None:
    folder = folder_like_the_kernels(tmp_path)
    (folder / "wrong.c").write_text("int wrong(void) { return", encoding="utf-8")
    made = runpy.run_path(str(folder / "build.py"))
    with pytest.raises(made["NotBuiltError"], match=r"(?s)refused:\n.*wrong\.c:1"):
        made["build"]()


def test_without_the_kernel_its_twin_serves(monkeypatch: pytest.MonkeyPatch) -> None:
    log = load_log("patches/tiny.csv")
    whole = run(linnet(), log)
    monkeypatch.setattr(Library, "follow", None)
    with pytest.raises(TypeError):
        run(linnet(), log)
    monkeypatch.setattr(fast, "find_kernel", lambda: Found(None, "not built"))
    assert_same_answer(run(linnet(), log), whole)
    monkeypatch.undo()
    monkeypatch.setattr(fast, "follow_in_python", None)
    assert_same_answer(run(linnet(), log), whole)


def test_the_c_files_keep_the_rules_of_the_house() -> None:
    # As for Python: a file opens by saying what it is; it is a sitting long at most, a function a screen.
    for path in build.sources():
        lines = path.read_text(encoding="utf-8").splitlines()
        assert lines[0].startswith("/* "), path.name
        assert len(lines) <= MOST_LINES_OF_A_FILE, path.name
        assert max(map(len, lines)) <= 120, path.name
        begins = [number for number, line in enumerate(lines) if line == "{"]
        ends = [number for number, line in enumerate(lines) if line == "}"]
        assert all(0 < end - begin <= MOST_LINES_OF_A_FUNCTION for begin, end in zip(begins, ends, strict=True)), (
            path.name
        )


# --- what both sides number alike -------------------------------------------------------------------------------------

RECORDS: dict[str, type] = {
    "step": StepClock,
    "register": ShiftRegister,
    "table": WaveTable,
    "timer": Timer,
    "envelope": Envelope,
    "sweep": Sweep,
}
ELSEWHERE = {
    "patterns": "a list",
    "volume_table": "a list",
    "register.taps": "a mask",
    "register.seed": "as seed_value",
    "register.short": "in parts",
    "step.clocked_by": "a train",
    "timer.ticks": "a train",
    "envelope.ticks": "a train",
    "sweep.ticks": "a train",
    "envelope.bypass": "its field is 0 without it",
    "sweep.shift_bits": "its field has no more",
    "table.reads": "a read changes nothing",
    "mixer.routes": "a list",
    "mixer.trims": "a list",
}


def options_known() -> dict[str, tuple[Any, ...]]:
    """Every option that a channel and the mixer can have, and its words."""
    found = {}
    for prefix, record in {"": Channel, **{f"{key}.": r for key, r in RECORDS.items()}, "mixer.": Mixer}.items():
        for item, kind in options_of(record):
            words = choices_of(kind) or ()
            found[prefix + item.name] = words if all(isinstance(word, str) for word in words) else ()
    return found


def test_the_kernel_knows_every_option_of_the_language_with_its_words() -> None:
    known = options_known()
    numbered = {**OPTIONS, **{f"mixer.{name}": words for name, words in MIXER.items()}}
    assert {n: known[n] for n in numbered if n in known} == {n: words for n, words in numbered.items() if n in known}
    assert set(known) - set(numbered) - set(RECORDS) == set(ELSEWHERE)
    made_of_others = {"mixer.channels", "mixer.outputs", "mixer.start", "mixer.end", "mixer.seen"}
    assert set(numbered) - set(known) == made_of_others | {"register.seed_value", "register.short.output"}


def test_the_kernel_knows_every_register_and_every_field() -> None:
    assert [f.name for f in dataclasses.fields(ChannelState)] == list(STATE)
    fields = {name.partition(".")[2] for name in linnet().fields if not name.startswith(("mixer.", "power"))}
    assert fields | {"gate", "envelope.bypass"} == set(FIELDS)


# --- numbers up to 2^62 -----------------------------------------------------------------------------------------------

SLOW_NOISE = """
[channel.x]
kind = "noise"
step = { divisors = [16_777_216], shift_bits = 5 }
register = { bits = 3, taps = [3, 2], output = 3 }
"""


def test_steps_of_2_to_the_55_cycles_are_counted_right() -> None:
    # 16,777,216 << 31 is 2^55. From 111 with taps 3 and 2: output 1, 1, 1, 0, 0, 1, 0 and again; steps after 2^55 each.
    chip, step = tiny(SLOW_NOISE), 1 << 55
    log = make_log([0, 0, 0], [VOLUME, CLOCK_SHIFT, GO], [5, 31, START], end=MAX_CYCLE)
    trace = agreed(chip, log, engines=QUICK_ENGINES)
    bits = [(1, 1, 1, 0, 0, 1, 0)[k % 7] for k in range(128)]
    wanted = [(k * step, 5 * bits[k]) for k in range(128) if k == 0 or bits[k] != bits[k - 1]]
    assert table_of(trace["x"]) == wanted
    assert trace.state.channels["x"].count == 0  # the 128th step is due at the very edge 2^62


def test_a_step_that_comes_after_the_last_cycle_there_is_never_comes() -> None:
    # A tick every 2^40 cycles, and 2^55 of them to a step: 2^95 cycles.
    chip = tiny(
        SLOW_NOISE.replace("shift_bits = 5", 'shift_bits = 5, clocked_by = "t"')
        + "[ticks.t]\nevery = 1_099_511_627_776\n"
    )
    log = make_log([0, 0, 0], [VOLUME, CLOCK_SHIFT, GO], [5, 31, START], end=MAX_CYCLE)
    trace = agreed(chip, log, engines=QUICK_ENGINES)
    assert table_of(trace["x"]) == [(0, 5)]
    assert trace.state.channels["x"].count == (1 << 55) - 1 - (1 << 22)  # 2^62 / 2^40 ticks have passed


def test_one_short_step_before_one_that_never_ends() -> None:
    # Ticks at 2^40 - 1 and so on; the first step lasts one tick, what is written at cycle 5 counts from the second.
    chip = tiny("""
[channel.x]
kind = "noise"
step = { divisors = [1, 16_777_216], shift_bits = 5, clocked_by = "t" }
register = { bits = 3, taps = [3, 2], output = 3, seed = 4 }
[ticks.t]
every = 1_099_511_627_776
""")
    writes = [(0, VOLUME, 5), (0, GO, START), (5, DIVISOR, 1), (5, CLOCK_SHIFT, 31)]
    log = make_log(*([row[i] for row in writes] for i in range(3)), end=MAX_CYCLE)
    trace = agreed(chip, log, engines=QUICK_ENGINES)
    assert table_of(trace["x"]) == [(0, 5), ((1 << 40) - 1, 0)]  # 100 becomes 001
    assert trace.state.channels["x"].shift_register == 1


@pytest.mark.parametrize(("shift", "period"), [(2, 10), (7, 8), (62, 8), (63, 8), (64, 8), (127, 8)])
def test_a_sweep_by_a_shift_of_more_than_all_bits_does_not_move(shift: int, period: int) -> None:
    chip = tiny("[channel.x.sweep]\nshift_bits = 7\n")
    writes = [(0, VOLUME, 1), (0, PERIOD, 8), (0, GLIDE, 1), (0, SHIFT, shift), (0, GO, START)]
    log = make_log(*([row[i] for row in writes] for i in range(3)), end=15)
    assert agreed(chip, log).state.registers[PERIOD] == period


@pytest.mark.parametrize("direction", ["left", "right"])
@pytest.mark.parametrize("feedback", ["xor", "xnor"])
def test_noise_that_cannot_be_heard_is_passed_over_and_stands_where_it_should(direction: str, feedback: str) -> None:
    # A maximal register of 3 bits comes back after 7 shifts; 2^51 is 8^17, one more than a multiple of 7.
    taps, output = ([3, 2], 3) if direction == "left" else ([1, 2], 1)
    chip = tiny(f"""
[channel.x]
kind = "noise"
step = {{ divisors = [1] }}
register = {{ bits = 3, taps = {taps}, output = {output}, shift = "{direction}", feedback = "{feedback}", seed = 5 }}
""")
    log = make_log([0], [GO], [START], end=(1 << 51) + 3)
    assert run(chip, log, end=1 << 51).state.channels["x"].shift_register == 5  # after 2^51 - 1 shifts
    assert run(chip, log).state.channels == run(chip, log, end=4, engine="reference").state.channels


@pytest.mark.parametrize("engine", QUICK_ENGINES)
def test_a_pattern_without_changes_costs_nothing_however_long_it_plays(engine: Any) -> None:
    chip = tiny('[channel.x]\npatterns = ["111"]\n')
    trace = run(chip, make_log([0, 0], [VOLUME, GO], [3, START], end=1 << 60), engine=engine)
    assert table_of(trace["x"]) == [(0, 3)]
    assert trace.state.channels["x"].position == ((1 << 60) - 1) % 3


def test_a_long_note_costs_what_its_changes_cost() -> None:
    # A step every 2^44 cycles through eight steps of which two change.
    chip = tiny(
        '[channel.x]\npatterns = ["10000000"]\nstep = { bits = 4, clocked_by = "t" }\n'
        "[ticks.t]\nevery = 1_099_511_627_776\n"
    )
    log = make_log([0, 0, 0], [VOLUME, PERIOD, GO], [1, 15, START], end=1 << 52)
    trace = agreed(chip, log, engines=QUICK_ENGINES)
    step = 1 << 44  # the first tick is at 2^40 - 1, so steps are at multiples of 2^44, less 1
    wanted = [(0, 1)] + [(k * step - 1, int(k % 8 == 0)) for k in range(1, 257) if k % 8 < 2]
    assert table_of(trace["x"]) == [row for row in wanted if row[0] < 1 << 52]


FULL = """
import resource
resource.setrlimit(resource.RLIMIT_AS, (1 << 30, 1 << 30))
from psgmodel.engine import run
from psgmodel.reglog import make_log
from tests.engine.tiny_units import GO, START, VOLUME, tiny
run(tiny('[channel.x]\\npatterns = ["10"]\\n'), make_log([0, 0], [VOLUME, GO], [3, START], end=1 << 40))
"""


def test_a_run_whose_changes_do_not_fit_into_memory_is_an_error_and_no_crash() -> None:
    done = subprocess.run([sys.executable, "-c", FULL], capture_output=True, text=True, check=False)
    assert done.returncode == 1
    assert done.stderr.splitlines()[-1] == "MemoryError: the compiled engine ran out of memory"


def test_many_restarts_that_let_no_tick_come_do_not_make_a_run_slow() -> None:
    # Each restart puts the tick off by 10; with one every 5 cycles none comes until the last.
    chip = tiny("""
[channel.x.timer]
[[register]]
name = "AGAIN"
address = 60
on_write = ["t.restart"]
""")
    count = 20_000
    rows = [(0, VOLUME, 1), (0, LENGTH, 1), (0, GO, START), *((5 * k + 1, 60, 0) for k in range(count))]
    log = make_log(*([row[i] for row in rows] for i in range(3)), end=5 * count + 50)
    trace = agreed(chip, log, engines=QUICK_ENGINES)
    assert table_of(trace["x"]) == [(0, 1), (5 * (count - 1) + 11, 0)]
