"""The comparison told: golden texts of records written by hand, no engine and no dump involved.

The golden files are frozen: each was read by a person against the record that it tells.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from psgmodel.comparison.alignment import OffsetChange
from psgmodel.comparison.exact import Divergence, ExactResult
from psgmodel.comparison.options import SpectralOptions
from psgmodel.comparison.reads import ReadsResult, SeenRead
from psgmodel.comparison.spectral import SpectralResult
from psgmodel.comparison.streams import Differences
from psgmodel.comparison.verdict import Comparison, Coverage, SignalResult, Status
from psgmodel.comparison.writes import BusResult, SeenWrite
from psgmodel.dump.observe import Kind
from psgmodel.report.comparison import comparison_summary, comparison_text, verdict_line, verdict_word

GOLDEN = Path(__file__).parents[1] / "golden" / "report"


def same(name: str, kind: Kind = Kind.CHANNEL) -> ExactResult:
    return ExactResult(
        name=name,
        kind=kind,
        path=f"bench.{name}",
        latency=0,
        start=0,
        end=1000,
        strobed=False,
        divergence=None,
        differences=None,
        offset_change=None,
        writes=(),
        agrees_at=None,
        follows_channels=False,
        constant=False,
        unknown_throughout=False,
    )


def signal(exact: ExactResult, **others: object) -> SignalResult:
    values = {"side": exact.kind.value, "judged_by": "exact", "spectral": None, **others}
    return SignalResult(name=exact.name, path=exact.path, exact=exact, **values)


def audio(name: str, nothing: str = "") -> SpectralResult:
    return SpectralResult(
        name=name,
        side="one-bit pin",
        nothing=nothing,
        model_silent=False,
        dump_silent=False,
        seconds=1.0,
        rate=48_000,
        delay_seconds=0.0,
        gain_db=None,
        inverted=False,
        options=SpectralOptions(),
    )


A, B, LEFT = same("a"), same("b"), same("left", Kind.OUTPUT)
WRONG_A = replace(
    A,
    divergence=Divergence(cycle=137, seconds=137 / 1e6, dump_time=1450, model_level=12, dump_level=15),
    differences=Differences(cycles=250, stretches=3, longest=200, longest_at=300, unknown_cycles=4),
    offset_change=OffsetChange(cycle=137, before=0, after=1, agrees_until=900, to_the_end=False),
    writes=(
        SeenWrite(9, 9e-6, 0x08, 0xB3, "A_PITCH 0x08: a.period[7:0] = 179"),
        SeenWrite(136, 136e-6, 0x0E, 1, "A_GO 0x0E: a.start"),
    ),
)
WRONG_LEFT = replace(
    LEFT,
    divergence=Divergence(cycle=138, seconds=138 / 1e6, dump_time=1460, model_level=48, dump_level=None),
    differences=Differences(cycles=250, stretches=3, longest=200, longest_at=301, unknown_cycles=4),
    follows_channels=True,
)

AGREE = Comparison(
    status=Status.AGREE,
    chip="Wren",
    file="wren.vcd",
    judge="exact",
    clock_hz=Fraction(1_000_000),
    rule="sampled just before every rising edge of bench.clk; cycle 0 is the first edge that samples bench.rst = 0",
    latency=0,
    latency_text="declared: 0 cycles",
    agrees_at=None,
    signals=(signal(A), signal(B), signal(LEFT)),
    not_compared=("noise",),
    bus=None,
    reads=None,
    coverage=Coverage(cycles=1000, of_cycles=2000, writes=4, of_writes=8, compared_end=1000),
    whole=False,
    edges=1001,
    skipped_edges=5,
    nothing=(),
    notes=("the clock has one short period",),
    guesses=("channel a: bench.a (named like it, 5 bits)", "channel b: bench.b (named like it, 5 bits)"),
)
DIFFER = replace(
    AGREE,
    status=Status.DIFFER,
    signals=(
        signal(WRONG_A),
        signal(replace(WRONG_A, name="b", path="bench.b", agrees_at=3, offset_change=None)),
        signal(WRONG_LEFT),
    ),
    not_compared=(),
    notes=(),
    guesses=(),
    agrees_at=3,
)
NOTHING = replace(AGREE, status=Status.NOTHING, signals=(), nothing=("no write on the bus",), notes=(), guesses=())
BUS = replace(
    AGREE,
    status=Status.DIFFER,
    bus=BusResult(8, 7, 0, 1, 0, (SeenWrite(9, 9e-6, 8, 1, "A_PITCH 0x08: a.period[7:0] = 1"),), ()),
    whole=True,
)
PIN = replace(
    AGREE,
    status=Status.DIFFER,
    judge="spectrum",
    signals=(
        signal(WRONG_A, judged_by="spectrum", spectral=audio("a")),
        SignalResult("left", "one-bit pin", "bench.pin", "spectrum", None, audio("left", "the dump's side is silent")),
    ),
)
READS = replace(
    AGREE,
    status=Status.DIFFER,
    reads=ReadsResult(9, 8, 1, (SeenRead(70, 70e-6, 2, 1, 3, "STATE 0x02 gave 0x03, 0x01 was expected"),)),
)
TOLD = replace(AGREE, bus=BusResult(8, 8, 0, 0, 0, (), ()), reads=ReadsResult(9, 8, 0, ()), guesses=())
RECORDS = {"reads": READS, "told": TOLD, "agree": AGREE, "differ": DIFFER, "nothing": NOTHING, "bus": BUS, "pin": PIN}


@pytest.mark.parametrize("name", RECORDS)
def test_the_report_is_the_text_that_was_read_and_approved(name: str) -> None:
    assert comparison_text(RECORDS[name]) == (GOLDEN / f"comparison-{name}.txt").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("name", "begins"),
    [
        ("agree", "AGREE  wren.vcd does what Wren says, to the cycle\n"),
        ("differ", "DIFFER  wren.vcd departs from Wren: a first, at cycle 137 (137.000 us)\n"),
        ("nothing", "NOTHING COMPARED  wren.vcd with Wren\n"),
        ("bus", "DIFFER  wren.vcd departs from Wren: the register log\n"),
        ("reads", "DIFFER  wren.vcd departs from Wren: what reads return\n"),
        ("told", "AGREE  wren.vcd does what Wren says, to the cycle\n"),
        ("pin", "DIFFER  wren.vcd departs from Wren as audio: left\n"),
    ],
)
def test_the_verdict_comes_first_in_one_line(name: str, begins: str) -> None:
    record = RECORDS[name]
    assert comparison_text(record).startswith(begins)
    assert comparison_summary(record).startswith(begins)
    assert f"{verdict_word(record)}  {verdict_line(record)}\n" == begins


def test_an_unknown_level_is_called_unknown_not_a_number() -> None:
    record = replace(DIFFER, signals=(signal(WRONG_LEFT),))
    assert "\n  expected 48, found an unknown level\n" in comparison_text(record)


def test_lines_fit_a_page() -> None:
    for record in RECORDS.values():
        assert max(map(len, comparison_text(record).splitlines())) <= 100
