"""Reader of stage files: TOML in, a checked `Stage` out; all problems of a file raised together.

Stage: output stage, assembling. Tables:

- ``format``: 1. ``title``: free text.
- ``[code]``: ``bits`` (1 to 24), ``clock`` (hertz; that of the pin where absent), ``silence`` (the code while
  nothing sounds; the middle of the range where absent).
- ``[pin]``: ``supply`` (volt), ``clock`` (hertz), ``resistance`` (ohm, 0 where absent), ``rating`` (ampere; nothing is
  judged where absent); with ``[modulator]``. Or ``[converter]`` in place of both (see `reader_modulator`).
- ``[network]``: what stands between pin and load, as `psgmodel.output_stage.networks.reader` reads it, without the
  table of the pin; ``[network.load]`` is the load.
- ``[tone]``: ``frequency`` (hertz), ``level`` (dBFS), ``length`` (seconds), ``idle-levels``.
- ``[limits]``: what you demand of the stage, a figure a key (see `figures`).
- ``[prices]``: your price list (see `prices`).
"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

from psgmodel.errors import Place, Problem, StageError
from psgmodel.output_stage.networks import Network, network_from_table
from psgmodel.output_stage.networks.toml_lines import TomlPath
from psgmodel.output_stage.parts_text import Unit
from psgmodel.output_stage.stage.figures import Limit
from psgmodel.output_stage.stage.prices import read_prices
from psgmodel.output_stage.stage.reader_modulator import problems_under, read_converter, read_modulator
from psgmodel.output_stage.stage.records import CodeSource, Converter, Pin, PinModulator, Stage, ToneRequest
from psgmodel.output_stage.stage.tables import StageTable
from psgmodel.tomlfile import TomlFile, load_toml, parse_toml

FORMAT = 1


def load_stage(path: str | Path) -> Stage:
    """Read a stage file.

    Parameters
    ----------
    path : str or Path

    Returns
    -------
    Stage

    Raises
    ------
    StageError
        The file cannot be read, is not TOML, or describes no usable stage; one problem for each fault.
    """
    return _stage(load_toml(path, StageError))


def parse_stage(text: str, name: str = "-") -> Stage:
    """Read a stage from TOML text; `name` is what problems call it. Errors as `load_stage`."""
    return _stage(parse_toml(text, name, StageError))


def _stage(file: TomlFile) -> Stage:
    problems: list[Problem] = []
    top = StageTable(file.data, (), file.name, file.lines, problems)
    check_format(top)
    title = top.text("title", Path(file.name).stem)
    has_converter, pin_table = top.has("converter"), top.table("pin")
    output: Pin | Converter
    modulator: PinModulator | None = None
    if has_converter:
        for key in ("pin", "modulator"):
            if top.has(key):
                top.problem(key, f"[converter] stands in place of [{key}]; accepted is one of the two")
        converter_table = top.table("converter")
        output = read_converter(converter_table)
        code = read_code(top.table("code"), None)
        resistance_place = converter_table.place("resistance")
    else:
        output = read_pin(pin_table)
        code = read_code(top.table("code"), output.clock)
        modulator = read_modulator(top.table("modulator"), code.bits, output.clock)
        resistance_place = pin_table.place("resistance")
    network = _network(top, file, output.resistance, resistance_place, problems)
    tone = read_tone(top.table("tone"))
    limits = _limits(top.table("limits"))
    prices = read_prices(top.table("prices"))
    top.finish(("pin", "modulator"))
    if problems or network is None:
        raise StageError(problems)
    names = ("code", "pin", "converter", "modulator", "network", "tone", "limits")
    places = {name: top.place(name) for name in names if top.has(name)}
    places["load"] = file.place("network", "load")
    return Stage(title, file.name, code, output, modulator, network, tone, limits, prices, places)


def check_format(top: StageTable) -> None:
    """Note a format other than the one that is read."""
    if top.whole("format", 0, 2**31, None) != FORMAT and top.has("format"):
        top.problem("format", f"this file is of another format; accepted is format = {FORMAT}")


def read_pin(table: StageTable) -> Pin:
    """Return the pin of a stage or of goals."""
    pin = Pin(
        supply=table.number("supply", 0.1, 100.0, None, Unit.VOLT),
        resistance=table.number("resistance", 0.0, 1e6, 0.0, Unit.OHM),
        rating=table.optional("rating", 1e-6, 100.0, Unit.AMPERE),
        clock=table.clock("clock", None),
    )
    table.finish()
    return pin


def read_code(table: StageTable, default_clock: Fraction | None) -> CodeSource:
    """Return the source of the code."""
    bits = table.whole("bits", 1, 24, None)
    silence = table.whole("silence", 0, (1 << bits) - 1, 1 << (bits - 1))
    source = CodeSource(bits, table.clock("clock", default_clock), silence)
    table.finish()
    return source


def read_tone(table: StageTable) -> ToneRequest:
    """Return the test tone; every key may be absent."""
    usual = ToneRequest()
    request = ToneRequest(
        hz=table.number("frequency", 20.0, 20_000.0, usual.hz, Unit.HERTZ),
        dbfs=table.number("level", -120.0, 0.0, usual.dbfs),
        seconds=table.number("length", 0.001, 1.0, usual.seconds, Unit.SECOND),
        idle_levels=table.whole("idle-levels", 0, 256, usual.idle_levels),
    )
    table.finish()
    return request


def _limits(table: StageTable) -> tuple[Limit, ...]:
    limits = table.limits()
    table.finish()
    return limits


def _network(
    top: StageTable, file: TomlFile, resistance: float, place: Place, problems: list[Problem]
) -> Network | None:
    """Return the network with the output's resistance in it."""
    table = dict(top.raw("network"))
    if "pin" in table:
        top.problem("network", "[network.pin] says what [pin] or [converter] says; give the resistance there")
        return None
    if not table:
        top.problem("network", '"network" is missing: describe what stands between pin and load', "at least its load")
        return None
    lines: dict[TomlPath, int] = dict(file.lines)
    if place.line is not None:
        lines |= {("network", "pin"): place.line, ("network", "pin", "resistance"): place.line}
    if resistance > 0:
        table["pin"] = {"resistance": resistance}
    if not table.get("ladder") and not table.get("element"):
        table.setdefault("output", "pin")  # nothing stands between: the load hangs on the pin itself
    try:
        return network_from_table(table, lines, file=file.name, under=("network",))
    except StageError as error:
        problems += problems_under(error.problems, top)
        return None
