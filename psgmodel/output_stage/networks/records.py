"""Networks: what stands between the pin and the load, as elements between named nodes.

Stage: the analog side of the output stage. Plain records only; ladders compile down to them
(`ladder`), files are read into them (`reader`), and everything that computes takes them.
Values in SI units (ohm, farad, henry, hertz, volt). Node names are free words; `GROUND` is the common node.

The pin is an ideal voltage source from ground to `Network.source`; its output resistance is an ordinary resistor
between `source` and `pin` (the two are one node where the resistance is zero).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import Enum

from psgmodel.errors import Place, Problem, StageError, nearest
from psgmodel.output_stage.loads import Load
from psgmodel.output_stage.parts_text import Unit

GROUND = "ground"


class PartKind(Enum):
    """A two-terminal part; the enum value is the word in a file."""

    RESISTOR = "resistor"
    CAPACITOR = "capacitor"
    INDUCTOR = "inductor"

    @property
    def unit(self) -> Unit:
        """Unit of the part's value."""
        return {"resistor": Unit.OHM, "capacitor": Unit.FARAD, "inductor": Unit.HENRY}[self.value]

    @property
    def letter(self) -> str:
        """Reference letter in names and netlists: R, C or L."""
        return {"resistor": "R", "capacitor": "C", "inductor": "L"}[self.value]


@dataclass(frozen=True, slots=True)
class Element:
    """A two-terminal part between two nodes. Its current counts from `first` to `second`.

    Attributes
    ----------
    kind : PartKind
    name : str
    first, second : str
        Node names.
    value : float, ohm, farad or henry
    place : Place or None
        Where it was described.
    """

    kind: PartKind
    name: str
    first: str
    second: str
    value: float
    place: Place | None = None


@dataclass(frozen=True, slots=True)
class OpAmp:
    """An operational amplifier with one pole: ``d out/dt = w (plus - minus) - (w / dc_gain) out``, w = 2 pi GBW.

    Inputs draw no current; the output is an ideal voltage (an output resistance is a resistor behind it). Slew
    rate, output swing and input range are not modelled: check them against the data sheet. Source of the
    one-pole model: Sedra and Smith, Microelectronic Circuits (internally compensated op amps), from memory.

    Attributes
    ----------
    name : str
    plus, minus, out : str
        Node names.
    gain_bandwidth : float, Hz
    dc_gain : float, ratio
        Open-loop gain at direct current.
    place : Place or None
    """

    name: str
    plus: str
    minus: str
    out: str
    gain_bandwidth: float
    dc_gain: float
    place: Place | None = None


@dataclass(frozen=True, slots=True)
class Reference:
    """A constant voltage (volt) from ground to `node`, such as a mid-supply reference; ideal."""

    name: str
    node: str
    volts: float
    place: Place | None = None


@dataclass(frozen=True, slots=True)
class Network:
    """A network: parts, amplifiers, constant voltages, and which node is which.

    Attributes
    ----------
    title : str
    elements : tuple of Element
    op_amps : tuple of OpAmp
    references : tuple of Reference
    source : str
        Node of the ideal pin voltage.
    pin : str
        Node of the pin itself, behind its output resistance; equals `source` where that is zero.
    output : str
        Node the load hangs on.
    load : Load or None
        The record of the load, whose parts are already among `elements`; for notes and reports.
    """

    title: str
    elements: tuple[Element, ...]
    op_amps: tuple[OpAmp, ...] = ()
    references: tuple[Reference, ...] = ()
    source: str = "source"
    pin: str = "pin"
    output: str = "out"
    load: Load | None = None

    def nodes(self) -> tuple[str, ...]:
        """Return every node but ground, the source first, then in order of appearance."""
        seen: dict[str, None] = {self.source: None}
        for element in self.elements:
            seen |= {element.first: None, element.second: None}
        for amp in self.op_amps:
            seen |= {amp.plus: None, amp.minus: None, amp.out: None}
        for reference in self.references:
            seen[reference.node] = None
        seen.pop(GROUND, None)
        return tuple(seen)

    def element(self, name: str) -> Element:
        """Return the element called `name`.

        Raises
        ------
        StageError
            There is none; the message names the nearest.
        """
        found = next((e for e in self.elements if e.name == name), None)
        if found is None:
            raise unknown_name("element", name, (e.name for e in self.elements))
        return found


def unknown_name(what: str, name: str, known: Iterable[str]) -> StageError:
    """Return the error for a node or element that the network does not have."""
    names = list(known)
    return StageError(
        Problem(f'the network has no {what} "{name}"; it has {", ".join(names)}', hint=nearest(name, names))
    )
