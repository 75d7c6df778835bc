"""Ladders: a network described from pin to load, section by section, compiled down to elements with nodes.

Stage: the analog side of the output stage. A frozen `Ladder` in, a `Network` out. Sections are series parts
(from the present node to a new one), shunt parts (from the present node to ground) and second-order active
sections. Node names: "source", "pin", then "n1", "n2", ... and "out" behind the last section, unless a section
names the node it ends in.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field, replace
from enum import Enum

from psgmodel.errors import Place, StageError
from psgmodel.output_stage.loads import OPEN, Load
from psgmodel.output_stage.networks.records import GROUND, Element, Network, OpAmp, PartKind, Reference


class Position(Enum):
    """How a part stands in a ladder; the enum value is the word in a file."""

    SERIES = "series"
    SHUNT = "shunt"


class ActiveForm(Enum):
    """Form of a second-order low-pass section with one op amp; the enum value is the word in a file."""

    SALLEN_KEY = "sallen-key"
    MULTIPLE_FEEDBACK = "multiple-feedback"


@dataclass(frozen=True, slots=True)
class Section:
    """A part of a ladder.

    Attributes
    ----------
    kind : PartKind
    position : Position
    value : float, ohm, farad or henry
    name : str
        Empty: R1, R2, C1, ... by order.
    node : str
        Name of the node that a series part ends in; empty: by order.
    loss : float, ohm
        Winding resistance of an inductor or equivalent series resistance of a capacitor; 0 for none.
    place : Place or None
    """

    kind: PartKind
    position: Position
    value: float
    name: str = ""
    node: str = ""
    loss: float = 0.0
    place: Place | None = None


@dataclass(frozen=True, slots=True)
class OpAmpModel:
    """What a data sheet says about an op amp: gain-bandwidth product (Hz), gain at DC, output resistance (ohm)."""

    gain_bandwidth: float
    dc_gain: float = 1e5
    output_resistance: float = 0.0


@dataclass(frozen=True, slots=True)
class ActiveSection:
    """A second-order low-pass section of a ladder.

    Sallen-Key (unity gain): `r1` from the input to an inner node, `r2` from there to the plus input, `c1` from
    the inner node to the output, `c2` from the plus input to ground. Multiple feedback (inverting): `r1` from
    the input to an inner node, `r2` from there to the output, `r3` to the minus input, `c1` from the inner node
    to ground, `c2` from the minus input to the output.

    Attributes
    ----------
    form : ActiveForm
    r1, r2, r3 : float, ohm
        `r3` only with multiple feedback; 0 otherwise.
    c1, c2 : float, farad
    op_amp : OpAmpModel
    reference : float, volt
        Constant voltage at the plus input of a multiple-feedback section; 0 is ground.
    name, node : str
        Name of the section (empty: U1, U2, ...) and of the node it ends in (empty: by order).
    place : Place or None
    """

    form: ActiveForm
    r1: float
    r2: float
    c1: float
    c2: float
    op_amp: OpAmpModel
    r3: float = 0.0
    reference: float = 0.0
    name: str = ""
    node: str = ""
    place: Place | None = None


@dataclass(frozen=True, slots=True)
class Ladder:
    """A network described from pin to load.

    Attributes
    ----------
    title : str
    sections : tuple of Section or ActiveSection
    load : Load
    pin_resistance : float, ohm
        0 for an ideal pin.
    pin_place, load_place : Place or None
    """

    title: str
    sections: tuple[Section | ActiveSection, ...]
    load: Load = OPEN
    pin_resistance: float = 0.0
    pin_place: Place | None = None
    load_place: Place | None = None


def series(kind: PartKind, value: float, *, name: str = "", node: str = "", loss: float = 0.0) -> Section:
    """Return a series section; see `Section` for units."""
    return Section(kind, Position.SERIES, value, name, node, loss)


def shunt(kind: PartKind, value: float, *, name: str = "", loss: float = 0.0) -> Section:
    """Return a shunt section; see `Section` for units."""
    return Section(kind, Position.SHUNT, value, name, "", loss)


@dataclass(slots=True)
class _CompileState:
    """What grows while a ladder is compiled."""

    node: str
    elements: list[Element] = field(default_factory=list)
    op_amps: list[OpAmp] = field(default_factory=list)
    references: list[Reference] = field(default_factory=list)
    counts: Counter[str] = field(default_factory=Counter)

    def named(self, letter: str, name: str) -> str:
        self.counts[letter] += 1
        return name or f"{letter}{self.counts[letter]}"

    def add(self, kind: PartKind, name: str, first: str, second: str, value: float, place: Place | None) -> None:
        self.elements.append(Element(kind, name, first, second, value, place))


def compile_ladder(ladder: Ladder) -> Network:
    """Compile a ladder down to elements with nodes.

    Parameters
    ----------
    ladder : Ladder

    Returns
    -------
    Network
        Winding and equivalent series resistances become resistors of their own, called ``<part>_loss``; the
        pin's output resistance is ``R_pin``, the load ``R_load`` and ``C_load``. Nothing is checked here:
        `check_network` does that.

    Raises
    ------
    StageError
        Two sections end in a node of the same name.
    """
    source = "source" if ladder.pin_resistance else "pin"
    state = _CompileState("pin")
    if ladder.pin_resistance:
        state.add(PartKind.RESISTOR, "R_pin", source, "pin", ladder.pin_resistance, ladder.pin_place)
    ends = _end_nodes(ladder)
    for section, end in zip(ladder.sections, ends, strict=True):
        if isinstance(section, ActiveSection):
            _add_active(state, section, end)
        else:
            _add_part(state, section, end)
        state.node = end
    output = state.node
    add_load(state.elements, ladder.load, output, ladder.load_place)
    return Network(
        ladder.title, tuple(state.elements), tuple(state.op_amps), tuple(state.references), source, "pin", output,
        ladder.load,
    )  # fmt: skip


def add_load(elements: list[Element], load: Load, node: str, place: Place | None) -> None:
    """Append the elements of a load between `node` and ground."""
    if load.resistance is not None:
        elements.append(Element(PartKind.RESISTOR, "R_load", node, GROUND, load.resistance, place))
    if load.capacitance:
        elements.append(Element(PartKind.CAPACITOR, "C_load", node, GROUND, load.capacitance, place))


def _end_nodes(ladder: Ladder) -> list[str]:
    """Return the node behind each section: "n1", "n2", ... and "out" for the last that moves on."""
    moves = [isinstance(s, ActiveSection) or s.position is Position.SERIES for s in ladder.sections]
    last = max((i for i, m in enumerate(moves) if m), default=-1)
    ends: list[str] = []
    node, count = "pin", 0
    for i, section in enumerate(ladder.sections):
        if moves[i]:
            count += 1
            node = section.node or ("out" if i == last else f"n{count}")
            if node in (*ends, "source", "pin", GROUND):
                raise StageError(f'two sections of the ladder end in node "{node}"', place=section.place)
        ends.append(node)
    return ends


def _add_part(state: _CompileState, section: Section, end: str) -> None:
    name = state.named(section.kind.letter, section.name)
    far = GROUND if section.position is Position.SHUNT else end
    if section.loss:
        inner = f"{name}_inner"
        state.add(section.kind, name, state.node, inner, section.value, section.place)
        state.add(PartKind.RESISTOR, f"{name}_loss", inner, far, section.loss, section.place)
    else:
        state.add(section.kind, name, state.node, far, section.value, section.place)


def _add_active(state: _CompileState, section: ActiveSection, end: str) -> None:
    name = state.named("U", section.name)
    inner, plus, minus = f"{name}_inner", f"{name}_plus", f"{name}_minus"
    resistor, capacitor = PartKind.RESISTOR, PartKind.CAPACITOR
    if section.form is ActiveForm.SALLEN_KEY:
        minus = end
        parts = [
            (resistor, "r1", state.node, inner, section.r1),
            (resistor, "r2", inner, plus, section.r2),
            (capacitor, "c1", inner, end, section.c1),
            (capacitor, "c2", plus, GROUND, section.c2),
        ]
    else:
        parts = [
            (resistor, "r1", state.node, inner, section.r1),
            (resistor, "r2", inner, end, section.r2),
            (resistor, "r3", inner, minus, section.r3),
            (capacitor, "c1", inner, GROUND, section.c1),
            (capacitor, "c2", minus, end, section.c2),
        ]
        if section.reference:
            state.references.append(Reference(f"{name}_reference", plus, section.reference, section.place))
        else:
            plus = GROUND
    for kind, part, first, second, value in parts:
        state.add(kind, f"{name}_{part}", first, second, value, section.place)
    model, out = section.op_amp, end
    if model.output_resistance:
        out = f"{name}_out"
        state.add(resistor, f"{name}_ro", out, end, model.output_resistance, section.place)
    state.op_amps.append(OpAmp(name, plus, minus, out, model.gain_bandwidth, model.dc_gain, section.place))


def with_load(ladder: Ladder, load: Load) -> Ladder:
    """Return the same ladder into another load."""
    return replace(ladder, load=load)
