"""Reader of network descriptions: TOML in, a checked `Network` out; all problems of a file raised together.

Stage: the analog side of the output stage. Values are numbers in SI units or text such as "4.7k" or "4k7". Keys:

- ``title``: free text.
- ``[pin]``: ``resistance`` (ohm, default 0).
- ``[[ladder]]``: the sections from pin to load, in order. A part: ``part`` ("resistor", "inductor", "capacitor"),
  ``position`` ("series", "shunt"), ``value``, and optionally ``name``, ``node`` (series only),
  ``winding-resistance`` (inductor) or ``series-resistance`` (capacitor). An active section: ``active``
  ("sallen-key", "multiple-feedback"), ``op-amp`` (a name from ``[op-amp]``), ``r1``, ``r2``, ``c1``, ``c2``, and with
  multiple feedback ``r3`` and optionally ``reference`` (volt); optionally ``name`` and ``node``.
- ``[[element]]``: parts between nodes: ``part``, ``name``, ``from``, ``to``, ``value``; or an op amp: ``op-amp``,
  ``name``, ``plus``, ``minus``, ``output``; or a constant voltage: ``reference`` (volt), ``name``, ``to``.
- ``[op-amp.NAME]``: ``gain-bandwidth`` (hertz), optionally ``dc-gain`` (ratio), ``output-resistance`` (ohm).
- ``[load]``: ``kind`` ("line-input", "headphone", "amplifier-input", "own", "open"), optionally ``resistance``,
  ``capacitance``.
- ``output``: the node the load hangs on, where it is not the end of the ladder.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from pathlib import Path

from psgmodel.errors import Place, Problem, StageError
from psgmodel.output_stage.loads import LOADS, OPEN, Load, LoadKind
from psgmodel.output_stage.networks.checks import check_network
from psgmodel.output_stage.networks.ladder import (
    ActiveForm,
    ActiveSection,
    Ladder,
    OpAmpModel,
    Position,
    Section,
    add_load,
    compile_ladder,
)
from psgmodel.output_stage.networks.reader_table import TableReader
from psgmodel.output_stage.networks.records import Element, Network, OpAmp, PartKind, Reference
from psgmodel.output_stage.networks.toml_lines import TomlPath, toml_lines
from psgmodel.output_stage.parts_text import Unit

_TOP = ("title", "pin", "ladder", "element", "op-amp", "load", "output")
_LOSS = {PartKind.INDUCTOR: "winding-resistance", PartKind.CAPACITOR: "series-resistance"}


def read_network(path: Path | str) -> Network:
    """Read a network file.

    Parameters
    ----------
    path : Path or str

    Returns
    -------
    Network
        Checked; odd but legal things are told by `network_notes`.

    Raises
    ------
    StageError
        The file cannot be read, is not TOML, or describes no usable network; one problem for each fault.
    """
    try:
        text = Path(path).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise StageError(f"cannot be read: {error}", place=Place(str(path))) from error
    return parse_network(text, file=str(path))


def parse_network(text: str, *, file: str = "-", under: tuple[str, ...] = ()) -> Network:
    """Read a network from TOML text.

    Parameters
    ----------
    text : str
    file : str
        Name for messages.
    under : tuple of str
        Where the description stands in a larger file: ``("network",)`` reads the tables below ``[network]``.
        Empty: the whole text is the description.

    Returns
    -------
    Network

    Raises
    ------
    StageError
        As `read_network`.
    """
    try:
        table: object = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        at = re.search(r"\(at line (\d+), column (\d+)\)", str(error))
        place = Place(file, int(at[1]), int(at[2])) if at else Place(file)
        message = re.sub(r" \(at .*\)$", "", str(error))
        raise StageError(f"is not TOML: {message}", place=place) from error
    for key in under:
        table = table.get(key) if isinstance(table, Mapping) else None
    if not isinstance(table, Mapping):
        raise StageError(f"has no table [{'.'.join(under)}]", place=Place(file))
    return network_from_table(table, toml_lines(text), file=file, under=under)


def network_from_table(
    table: Mapping[str, object], lines: Mapping[TomlPath, int], *, file: str = "-", under: tuple[str, ...] = ()
) -> Network:
    """Make a network from a table already read; parameters and errors as `parse_network`, lines of `toml_lines`."""
    problems: list[Problem] = []
    top = TableReader(table, under, file, lines, problems)
    network = _network(top, problems)
    if problems:
        raise StageError(problems)
    check_network(network)
    return network


def _network(top: TableReader, problems: list[Problem]) -> Network:
    models = _op_amp_models(top.table("op-amp"))
    pin, load_table = top.table("pin"), top.table("load")
    load, load_place = _load(load_table), load_table.place()
    sections = [s for t in top.tables("ladder") if (s := _section(t, models)) is not None]
    own_output = top.word("output", "")
    pin_resistance = pin.value("resistance", Unit.OHM, 0.0)
    pin.finish()
    if pin_resistance < 0:
        pin.problem("resistance", f"pin resistance is {pin_resistance} Ω; accepted is zero or a positive value")
    ladder = Ladder(
        top.text("title", "network"), tuple(sections), OPEN, max(0.0, pin_resistance), pin.place("resistance")
    )
    try:
        bare = compile_ladder(ladder)
    except StageError as error:
        problems += error.problems
        bare = compile_ladder(Ladder("", ()))
    elements, amps, references = list(bare.elements), list(bare.op_amps), list(bare.references)
    for entry in top.tables("element"):
        _free_element(entry, models, elements, amps, references)
    output = own_output or (bare.output if sections or not elements else "out")
    add_load(elements, load, output, load_place)
    top.finish(_TOP)
    return Network(
        bare.title, tuple(elements), tuple(amps), tuple(references), bare.source, bare.pin, output, load
    )  # fmt: skip


def _op_amp_models(table: TableReader) -> dict[str, OpAmpModel]:
    models = {}
    for name in table.names():
        entry = table.table(name)
        models[name] = OpAmpModel(
            entry.value("gain-bandwidth", Unit.HERTZ, None),
            entry.value("dc-gain", Unit.NONE, 1e5),
            entry.value("output-resistance", Unit.OHM, 0.0),
        )
        entry.finish()
    return models


def _load(table: TableReader) -> Load:
    kind = table.choice("kind", LoadKind, LoadKind.OPEN if table.empty() else None)
    known = LOADS.get(kind, OPEN) if kind else OPEN
    resistance = table.value("resistance", Unit.OHM, known.resistance or 0.0)
    capacitance = table.value("capacitance", Unit.FARAD, known.capacitance)
    if kind is LoadKind.OWN and not table.has("resistance") and not table.has("capacitance"):
        table.problem("kind", 'a load of kind "own" needs resistance, capacitance or both')
    table.finish()
    given = table.has("resistance") or known.resistance is not None
    return Load(kind or LoadKind.OPEN, resistance if given else None, capacitance)


def _section(table: TableReader, models: dict[str, OpAmpModel]) -> Section | ActiveSection | None:
    if table.has("active"):
        return _active(table, models)
    kind = table.choice("part", PartKind, None)
    position = table.choice("position", Position, None)
    if kind is None or position is None:
        table.finish(("value", "name", "node", *_LOSS.values()))
        return None
    loss_key = _LOSS.get(kind)
    loss = table.value(loss_key, Unit.OHM, 0.0) if loss_key else 0.0
    if loss < 0:
        table.problem(loss_key or "", f"{loss_key} is {loss} Ω; accepted is zero or a positive value")
    section = Section(
        kind, position, table.value("value", kind.unit, None), table.word("name", ""),
        table.word("node", "") if position is Position.SERIES else "", loss, table.place(),
    )  # fmt: skip
    table.finish()
    return section


def _active(table: TableReader, models: dict[str, OpAmpModel]) -> ActiveSection | None:
    form = table.choice("active", ActiveForm, None)
    model = _model(table, models)
    more = form is ActiveForm.MULTIPLE_FEEDBACK
    section = ActiveSection(
        form or ActiveForm.SALLEN_KEY,
        table.value("r1", Unit.OHM, None),
        table.value("r2", Unit.OHM, None),
        table.value("c1", Unit.FARAD, None),
        table.value("c2", Unit.FARAD, None),
        model,
        table.value("r3", Unit.OHM, None) if more else 0.0,
        table.value("reference", Unit.VOLT, 0.0) if more else 0.0,
        table.word("name", ""),
        table.word("node", ""),
        table.place(),
    )
    table.finish()
    return section if form else None


def _model(table: TableReader, models: dict[str, OpAmpModel]) -> OpAmpModel:
    name = table.word("op-amp", None)
    if name and name not in models:
        known = ", ".join(models) or "none is described; add [op-amp.NAME]"
        table.problem("op-amp", f'op amp "{name}" is not described; accepted: {known}')
    return models.get(name, OpAmpModel(1e6))


def _free_element(
    table: TableReader,
    models: dict[str, OpAmpModel],
    elements: list[Element],
    amps: list[OpAmp],
    references: list[Reference],
) -> None:
    name = table.word("name", None)
    if table.has("op-amp"):
        model = _model(table, models)
        out = table.word("output", None)
        inner = f"{name}_out" if model.output_resistance else out
        if model.output_resistance:
            elements.append(
                Element(PartKind.RESISTOR, f"{name}_ro", inner, out, model.output_resistance, table.place())
            )
        amps.append(
            OpAmp(
                name, table.word("plus", None), table.word("minus", None), inner, model.gain_bandwidth,
                model.dc_gain, table.place(),
            )
        )  # fmt: skip
    elif table.has("reference"):
        volts = table.value("reference", Unit.VOLT, None)
        references.append(Reference(name, table.word("to", None), volts, table.place()))
    else:
        kind = table.choice("part", PartKind, None)
        value = table.value("value", kind.unit if kind else Unit.NONE, None) if kind else 1.0
        nodes = table.word("from", None), table.word("to", None)
        if kind:
            elements.append(Element(kind, name, *nodes, value, table.place()))
        table.finish(("value",))
        return
    table.finish()
