"""The library of faults: one wrong line or two in the RTL of Linnet, and what that is in the words of its description.

Stage: tests. In: the files in ``faults/linnet``. Out: records, and the RTL with one fault. A file has

- `cause`: one sentence;
- `block`: where in the unit;
- `signals`: where it can be heard, without what only follows;
- `change`: what the description would have to say (``channel.*`` stands for each of the signals), or left out where the
  language cannot say it;
- `seed`: of the log that provokes it, where the usual log does not;
- `edit`: old text and new text, one after another.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path

from tests.rtl.simulate import LINNET

FOLDER = Path(__file__).with_name("faults") / "linnet"
SEED = 38
"""Of the usual log; chosen so that nearly every fault of the library can be heard in it."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault of the library."""

    name: str
    cause: str
    block: str
    signals: tuple[str, ...]
    change: str
    seed: int
    edits: tuple[tuple[str, str], ...]

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
        text = LINNET.read_text(encoding="utf-8")
        for old, new in self.edits:
            assert text.count(old) == 1, f"{self.name}: {text.count(old)} times {old!r}"
            text = text.replace(old, new)
        return text


def load_faults() -> dict[str, Fault]:
    """Read every file of the library."""
    found = {}
    for path in sorted(FOLDER.glob("*.toml")):
        table = tomllib.loads(path.read_text(encoding="utf-8"))
        edits = tuple((edit["old"], edit["new"]) for edit in table["edit"])
        seed = int(table.get("seed", SEED))
        signals = tuple(table["signals"])
        found[path.stem] = Fault(
            path.stem, table["cause"], table["block"], signals, table.get("change", ""), seed, edits
        )
    return found
