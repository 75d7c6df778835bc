"""Reader of goal files: TOML in, checked `Goals` out; all problems of a file raised together.

Stage: output stage, searching. Tables:

- ``format``: 1. ``title``: free text. ``[code]``: as in a stage file.
- ``[pin]``: ``supply``, ``resistance``, ``rating`` as in a stage file; ``clocks``: a list of what the board can give.
- ``[converter]``: as in a stage file, where one is to be tried beside the pin.
- ``[load]``: as in a network file.
- ``[goals]``: a figure a key (see `psgmodel.output_stage.stage.figures`).
- ``[candidates]``: ``modulators``, ``counters`` (bits), ``topologies``, ``coupling`` (capacitors; none where absent),
  ``most`` (networks); ``[candidates.resistors]``, ``capacitors``, ``inductors``: ``series`` ("E6" to "E96"), ``from``,
  ``to``.
- ``[tolerances]``: ``resistor``, ``capacitor``, ``inductor`` (ratio; that of the series where absent), ``supply``,
  ``load``, ``draws``, ``seed``, ``spread`` ("uniform", "normal").
- ``[search]``: ``finalists``, ``rank-by`` (figures). ``[prices]``: as in a stage file.
"""

from __future__ import annotations

from enum import Enum
from fractions import Fraction
from pathlib import Path
from typing import TypeVar

from psgmodel.errors import Problem, StageError, nearest
from psgmodel.output_stage.loads import OPEN, Load
from psgmodel.output_stage.modulators import Spread
from psgmodel.output_stage.networks import PartKind, network_from_table
from psgmodel.output_stage.parts import TOLERANCE, Series, preferred_values
from psgmodel.output_stage.parts_text import Unit
from psgmodel.output_stage.search.records import Drawer, Goals, ModulatorWord, Tolerances, Topology
from psgmodel.output_stage.stage import FIGURES, Figure, Limit
from psgmodel.output_stage.stage.prices import read_prices
from psgmodel.output_stage.stage.reader import check_format, read_code
from psgmodel.output_stage.stage.reader_modulator import read_converter
from psgmodel.output_stage.stage.tables import StageTable, exact_clock
from psgmodel.tomlfile import TomlFile, load_toml, parse_toml

SERIES = {f"E{series.value}": series for series in Series if 6 <= series.value <= 96}
"""Series a drawer may be of."""

USUAL = {
    PartKind.RESISTOR: ("E24", "100", "10k"),
    PartKind.CAPACITOR: ("E6", "470p", "220n"),
    PartKind.INDUCTOR: ("E6", "100u", "22m"),
}
"""Drawer of a kind where the file says nothing: series, lowest and highest value."""

_Word = TypeVar("_Word", bound=Enum)

_KEYS = {PartKind.RESISTOR: "resistors", PartKind.CAPACITOR: "capacitors", PartKind.INDUCTOR: "inductors"}


def load_goals(path: str | Path) -> Goals:
    """Read a file of goals.

    Parameters
    ----------
    path : str or Path

    Returns
    -------
    Goals

    Raises
    ------
    StageError
        The file cannot be read, is not TOML, or holds no usable goals; one problem for each fault.
    """
    return _goals(load_toml(path, StageError))


def parse_goals(text: str, name: str = "-") -> Goals:
    """Read goals from TOML text; `name` is what problems call it. Errors as `load_goals`."""
    return _goals(parse_toml(text, name, StageError))


def _goals(file: TomlFile) -> Goals:
    problems: list[Problem] = []
    top = StageTable(file.data, (), file.name, file.lines, problems)
    check_format(top)
    title = top.text("title", Path(file.name).stem)
    pin = top.table("pin")
    clocks = _clocks(pin)
    supply = pin.number("supply", 0.1, 100.0, None, Unit.VOLT)
    resistance = pin.number("resistance", 0.0, 1e6, 0.0, Unit.OHM)
    rating = pin.optional("rating", 1e-6, 100.0, Unit.AMPERE)
    pin.finish()
    code = read_code(top.table("code"), clocks[0])
    converter = read_converter(top.table("converter")) if top.has("converter") else None
    load = _load(top, file, problems)
    wanted = top.table("goals")
    limits = wanted.limits()
    wanted.finish(FIGURES)
    prices = read_prices(top.table("prices"))
    drawn = top.table("candidates")
    drawers = {kind: _drawer(drawn.table(_KEYS[kind]), kind) for kind in PartKind}
    modulators = _words(drawn, "modulators", ModulatorWord, tuple(ModulatorWord)[:-1])
    topologies = _words(drawn, "topologies", Topology, (Topology.RC, Topology.RC_RC))
    counters = drawn.whole_list("counters", 2, 16, tuple(range(4, code.bits + 1)))
    coupling = drawn.value_list("coupling", Unit.FARAD)
    most = drawn.whole("most", 1, 200_000, 40_000)
    drawn.finish()
    tolerances = _tolerances(top.table("tolerances"), drawers)
    search = top.table("search")
    finalists = search.whole("finalists", 1, 200, 12)
    rank_by = tuple(FIGURES[w] for w in search.word_list("rank-by", tuple(FIGURES), ("cost", "parts")))
    search.finish()
    top.finish()
    _check_together(top, limits, prices is not None, converter is not None, modulators, rank_by)
    if problems:
        raise StageError(problems)
    if converter is not None and ModulatorWord.CONVERTER not in modulators:
        modulators = (*modulators, ModulatorWord.CONVERTER)
    return Goals(
        title=title,
        file=file.name,
        code=code,
        supply=supply,
        resistance=resistance,
        rating=rating,
        clocks=clocks,
        converter=converter,
        load=load,
        limits=limits,
        modulators=modulators,
        counters=counters,
        topologies=topologies,
        coupling=coupling,
        drawers=drawers,
        prices=prices,
        tolerances=tolerances,
        most=most,
        finalists=finalists,
        rank_by=rank_by,
    )


def _check_together(
    top: StageTable,
    limits: tuple[Limit, ...],
    priced: bool,
    has_converter: bool,
    modulators: tuple[ModulatorWord, ...],
    rank_by: tuple[Figure, ...],
) -> None:
    """Note what does not go together."""
    if not limits and top.has("goals"):
        top.problem("goals", f"[goals] holds no goal; accepted: {', '.join(FIGURES)}")
    elif not top.has("goals"):
        top.problem(None, '"goals" is missing: say what a stage must do', f"a table [goals] with {', '.join(FIGURES)}")
    if not priced and any(limit.figure is Figure.COST for limit in limits):
        top.problem("goals", "a goal of cost needs [prices]: your own price list")
    if ModulatorWord.CONVERTER in modulators and not has_converter:
        top.problem("candidates", 'a "converter" among the modulators needs [converter]: what its data sheet says')
    if not priced and Figure.COST in rank_by and top.has("search") and "rank-by" in top.table("search").names():
        top.problem("search", "rank-by cost needs [prices]: your own price list")


def _clocks(pin: StageTable) -> tuple[Fraction, ...]:
    found = pin.take("clocks")
    if found is None:
        pin.problem(None, '"clocks" is missing in [pin]: a list of clocks that the board can give the modulator')
        return (Fraction(10**6),)
    clocks: list[Fraction] = []
    for item in found if isinstance(found, list) else [found]:
        try:
            clocks.append(exact_clock(item))
        except StageError as error:
            pin.problem("clocks", f"clocks: {error.problems[0].message}")
    if not clocks:
        return (Fraction(10**6),)
    return tuple(dict.fromkeys(clocks))


def _load(top: StageTable, file: TomlFile, problems: list[Problem]) -> Load:
    given = dict(top.raw("load"))
    table = {"load": given, "output": "pin", "pin": {"resistance": 1.0}}  # any resistance: only the load is kept
    if not given:
        top.problem("load", '"load" is missing: say what the stage must drive', 'such as kind = "line-input"')
        return OPEN
    if given.get("kind") == "open":
        top.problem("load", "a search needs a load to drive; accepted is any kind but open")
        return OPEN
    try:
        return network_from_table(table, file.lines, file=file.name).load or OPEN
    except StageError as error:
        problems += error.problems
        return OPEN


def _drawer(table: StageTable, kind: PartKind) -> Drawer:
    usual = USUAL[kind]
    word = table.take("series") if table.has("series") else usual[0]
    if word not in SERIES:
        hint = nearest(str(word).upper(), SERIES)
        table.problem("series", f"series is {word!r}; accepted: {', '.join(SERIES)}", hint)
        word = usual[0]
    series = SERIES[str(word)]
    low = table.value_or("from", kind.unit, usual[1])
    high = table.value_or("to", kind.unit, usual[2])
    table.finish()
    if not 0 < low <= high:
        table.problem("from", f"a drawer from {low:g} to {high:g}; accepted is a rising range above 0")
        return Drawer(series, (low if low > 0 else 1.0,))
    values = preferred_values(series, low, high)
    if not values:
        table.problem("from", f"{word} has no value from {low:g} to {high:g}")
    return Drawer(series, values or (low,))


def _words(table: StageTable, key: str, kind: type[_Word], default: tuple[_Word, ...]) -> tuple[_Word, ...]:
    known = tuple(str(member.value) for member in kind)
    words = table.word_list(key, known, tuple(str(member.value) for member in default))
    return tuple(kind(word) for word in words)


def _tolerances(table: StageTable, drawers: dict[PartKind, Drawer]) -> Tolerances:
    parts = {kind: table.number(kind.value, 0.0, 0.5, TOLERANCE[drawer.series]) for kind, drawer in drawers.items()}
    tolerances = Tolerances(
        parts=parts,
        supply=table.number("supply", 0.0, 0.5, 0.0),
        load=table.number("load", 0.0, 0.9, 0.0),
        draws=table.whole("draws", 10, 100_000, 1000),
        seed=table.whole("seed", 0, 2**63 - 1, 1),
        spread=table.choice("spread", Spread, Spread.UNIFORM) or Spread.UNIFORM,
    )
    table.finish()
    return tolerances
