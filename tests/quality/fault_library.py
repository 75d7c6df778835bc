"""The library of faults: one wrong line or two in the RTL of Linnet, and what that is in the words of its description.

Stage: tests. In: the files in ``faults/linnet``. Out: records, and the RTL with one fault. A file has

- `cause`: one sentence;
- `block`: where in the unit;
- `signals`: where it can be heard, without what only follows;
- `change`: what the description would have to say (``channel.*`` stands for each of the signals), or left out where the
  language cannot say it;
- `edit`: old text and new text, one after another.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path
from random import Random

import numpy as np

from psgmodel.chip import load_chip
from psgmodel.reglog import RegisterLog, make_log
from tests.laws.generated_logs import draw_log
from tests.rtl.simulate import LINNET

FOLDER = Path(__file__).with_name("faults") / "linnet"
CHIP = load_chip("patches/linnet.toml")


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault of the library."""

    name: str
    cause: str
    block: str
    signals: tuple[str, ...]
    change: str
    edits: tuple[tuple[str, str], ...]

    @property
    def expressible(self) -> bool:
        """Whether the description language can say it."""
        return bool(self.change)

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
        signals = tuple(table["signals"])
        found[path.stem] = Fault(path.stem, table["cause"], table["block"], signals, table.get("change", ""), edits)
    return found


def one_write_a_cycle(log: RegisterLog) -> RegisterLog:
    """Return a log whose cycles strictly increase, as a bench needs: a write that shares its cycle comes later."""
    cycle = log.cycle.copy()
    for index in range(1, cycle.size):
        cycle[index] = max(int(cycle[index]), int(cycle[index - 1]) + 1)
    keep = cycle < log.end
    return make_log(cycle[keep], log.address[keep], log.value[keep], end=log.end)


def hard_log(seed: int, cycles: int, writes: int) -> RegisterLog:
    """Return a generated log that fills the wave memory first and then snaps writes onto ticks, starts and expiries."""
    rng = Random(seed)
    drawn = draw_log(rng, CHIP, cycles, writes)
    memory = [(2 * i, 0x40 + i, rng.randrange(64)) for i in range(64)]
    rest = drawn.cycle >= 2 * len(memory)
    columns = [
        np.concatenate([np.array([row[k] for row in memory]), column[rest]])
        for k, column in enumerate((drawn.cycle, drawn.address, drawn.value))
    ]
    return one_write_a_cycle(make_log(*columns, end=drawn.end))
