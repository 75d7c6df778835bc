"""The library of faults: a wrong line or two in the RTL of a demo chip, and what that is in the words of a description.

Stage: tests. In: the files in ``faults/linnet`` (Verilog) and ``faults/siskin`` (VHDL). Out: records, and the RTL with
one fault. A file has

- `cause`: one sentence;
- `block`: where in the unit, by the names of `psgmodel.diagnose.blocks`;
- `signals`: where it can be heard, without what only follows;
- `change`: what the description would have to say (``channel.*`` stands for each of the signals), or left out where the
  language cannot say it;
- `edit`: old text and new text, one after another.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path

from tests.rtl.simulate import LINNET
from tests.rtl.simulate_vhdl import SISKIN

FOLDER = Path(__file__).with_name("faults")
RTL = {"linnet": LINNET, "siskin": SISKIN}


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault of the library, of one demo chip."""

    unit: str
    name: str
    cause: str
    block: str
    signals: tuple[str, ...]
    change: str
    edits: tuple[tuple[str, str], ...]

    @property
    def full_name(self) -> str:
        """Chip and name: ``siskin/mixer-wraps``."""
        return f"{self.unit}/{self.name}"

    @property
    def expressible(self) -> bool:
        """Whether the description language can say it."""
        return bool(self.change)

    def wanted(self) -> frozenset[str]:
        """Return what a search for suspects should say, one text for each signal that the change is of."""
        if "*" not in self.change:
            return frozenset([self.change] if self.change else [])
        return frozenset(self.change.replace("*", signal) for signal in self.signals)

    def rtl(self) -> str:
        """Return the RTL with this fault; an edit whose old text does not stand there exactly once is an error."""
        text = RTL[self.unit].read_text(encoding="utf-8")
        for old, new in self.edits:
            assert text.count(old) == 1, f"{self.full_name}: {text.count(old)} times {old!r}"
            text = text.replace(old, new)
        return text


def load_faults(unit: str = "linnet") -> dict[str, Fault]:
    """Read every file of the library that is for one chip."""
    found = {}
    for path in sorted((FOLDER / unit).glob("*.toml")):
        table = tomllib.loads(path.read_text(encoding="utf-8"))
        edits = tuple((edit["old"], edit["new"]) for edit in table["edit"])
        signals = tuple(table["signals"])
        found[path.stem] = Fault(
            unit, path.stem, table["cause"], table["block"], signals, table.get("change", ""), edits
        )
    return found


def whole_library() -> dict[str, Fault]:
    """Read every file of the library, by full names."""
    return {fault.full_name: fault for unit in RTL for fault in load_faults(unit).values()}
