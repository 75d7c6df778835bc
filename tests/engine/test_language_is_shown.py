"""Every option of the description language has a test that shows what it does, for every word that it accepts.

`SHOWN` was written by hand: the default as the reference gives it, and the tests in which the option is worked out edge
by edge. A new option fails here until it has its row.
"""

from __future__ import annotations

import importlib.util
import inspect
import tomllib
from dataclasses import MISSING
from functools import cache
from pathlib import Path
from types import ModuleType

import pytest

from psgmodel.chip.options import choices_of, options_of
from psgmodel.report.description import TABLES, description_tables
from tests.engine.shown_options import SHOWN
from tests.engine.tiny_units import filled

HERE = Path(__file__).parent
RECORDS = {record.__name__: record for _, record in TABLES}
OPTIONS = [(name, item.name) for name, record in RECORDS.items() for item, _ in options_of(record)]


@cache
def module_of(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(name, HERE / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def source_of(test: str) -> str:
    module, _, function = test.partition(".")
    return inspect.getsource(getattr(module_of(module), function))


def test_every_option_has_a_row_and_every_row_an_option() -> None:
    assert sorted(SHOWN) == sorted(f"{record}.{option}" for record, option in OPTIONS)


@pytest.mark.parametrize("option", sorted(SHOWN))
def test_the_tests_of_an_option_are_there_and_name_each_word_that_it_accepts(option: str) -> None:
    record, _, key = option.partition(".")
    item, kind = next((item, kind) for item, kind in options_of(RECORDS[record]) if item.name == key)
    _, *tests = SHOWN[option]
    assert tests
    sources = "".join(source_of(test) for test in tests)
    assert all(test.partition(".")[2].startswith("test_") for test in tests)
    for word in choices_of(kind):
        if word != item.default:  # the default is shown by leaving the option out, see below
            assert (f'"{word}"' if isinstance(word, str) else str(word)) in sources


def test_the_default_of_every_option_is_the_one_in_the_table() -> None:
    names = {header: record.__name__ for header, record in TABLES}
    defaults = {f"{names[t.header]}.{o.key}": o.default or "required" for t in description_tables() for o in t.options}
    assert defaults == {option: row[0] for option, row in SHOWN.items()}


WHOLE = """
power = {}
sequencers.march = { every = 5, first = 2, steps = 4 }
ticks.t = { every = 10, first = 10 }
ticks.u = { sequencer = "march", at = [0] }
channel.x = { timer = {}, envelope = {}, sweep = {} }
channel.w = { kind = "wave", table = { samples = 4, bits = 4 }, volume_bits = 1 }
channel.n = { kind = "noise", register = { bits = 3, taps = [3, 2], output = 3 } }
constants = { "w.volume" = 1, "w.period" = 0, "n.volume" = 1 }
register = [{ name = "GO", address = 50, on_write = ["w.start", "n.start"] }]
memory = [{ name = "M", channel = "w", address = 52 }]
"""
PLACES = {
    "Bus": "bus",
    "Power": "power",
    "Sequencer": "sequencers.march",
    "TickSource": "ticks.t",
    "Channel": "channel.x",
    "StepClock": "channel.x.step",
    "NoiseClock": "channel.n.step",
    "ShiftRegister": "channel.n.register",
    "WaveTable": "channel.w.table",
    "Timer": "channel.x.timer",
    "Envelope": "channel.x.envelope",
    "Sweep": "channel.x.sweep",
    "Mixer": "mixer",
}
CLOSED = [
    (name, item.name, item.default)
    for name, record in RECORDS.items()
    for item, kind in options_of(record)
    if choices_of(kind) and item.default is not MISSING
]


def test_there_are_many_closed_choices() -> None:
    assert len(CLOSED) >= 45


@pytest.mark.parametrize(("record", "option", "default"), CLOSED)
def test_saying_the_default_is_saying_nothing(record: str, option: str, default: object) -> None:
    description = tomllib.loads(WHOLE)
    if record == "Bus" and option == "data_bits":  # the filling of tiny units says 16
        assert default == 8
        return
    table = description
    for key in PLACES[record].split("."):
        table = table.setdefault(key, {})
    assert option not in table
    table[option] = default
    assert filled(description) == filled(tomllib.loads(WHOLE))
