"""The reference of the description language: complete, in each of its forms, and true.

What it says is held against the reader of descriptions: bounds and words are tried out, names of fields, strobes and
states are those that the reader knows.
"""

from __future__ import annotations

import re
import tomllib
from typing import Any

import pytest

import psgmodel.engine
from psgmodel.chip import parse_chip
from psgmodel.chip.options import ReadingState, choices_of, options_of, read_value
from psgmodel.errors import ChipError
from psgmodel.report.description import TABLES, description_json, description_markdown, description_text
from psgmodel.tomlfile import TomlFile
from tests.engine.tiny_units import tiny
from tests.laws.generated_wiring import specs_of

ORDER = psgmodel.engine.__doc__ or ""
TEXT, MARKDOWN, JSON = description_text(ORDER), description_markdown(ORDER), description_json(ORDER)
OPTIONS = [(header, item, kind) for header, record in TABLES for item, kind in options_of(record)]
IDS = [f"{header} {item.name}" for header, item, _ in OPTIONS]


def squeezed(text: str) -> str:
    return " ".join(text.split())


def section(header: str) -> str:
    """The part of the text about one table."""
    found = re.search(rf"\n{re.escape(header)}\n(.*?)(?=\n\[|\nFields and )", TEXT, re.DOTALL)
    assert found is not None
    return found[1]


def json_option(header: str, key: str) -> dict[str, str]:
    table = next(table for table in JSON["tables"] if table["header"] == header)
    return next(option for option in table["options"] if option["key"] == key)


def markdown_row(header: str, key: str) -> list[str]:
    part = MARKDOWN.split(f"\n## `{header}`\n")[1].split("\n## ")[0]
    row = next(line for line in part.splitlines() if line.startswith(f"| `{key}` "))
    return [cell.strip().replace("\\|", "|") for cell in re.split(r"(?<!\\)\|", row)[1:-1]]


@pytest.mark.parametrize(("header", "item", "kind"), OPTIONS, ids=IDS)
def test_each_option_stands_in_all_three_forms_with_its_sentence_words_and_default(
    header: str, item: Any, kind: Any
) -> None:
    option = json_option(header, item.name)
    assert option["sentence"] == item.metadata["doc"]
    for word in choices_of(kind):
        assert (f'"{word}"' if isinstance(word, str) else str(word)) in option["accepts"].split(" | ")
    key, accepts, default, meaning = markdown_row(header, item.name)
    assert (key, accepts, meaning) == (f"`{item.name}`", option["accepts"], squeezed(option["sentence"]))
    assert default == (option["default"] or "required")
    given = f"default {option['default']}" if option["default"] else "required"
    part = squeezed(section(header))
    assert f"{item.name} = {option['accepts']} {given} {squeezed(option['sentence'])}" in part


def number_of(text: str) -> int:
    """Read a bound as the reference writes it."""
    found = re.fullmatch(r"(-?)(?:2\^(\d+)|(\d+))( - 1)?", text)
    assert found is not None
    size = 2 ** int(found[2]) if found[2] else int(found[3])
    return (-1 if found[1] else 1) * (size - (1 if found[4] else 0))


NUMBERS = [o for o in OPTIONS if "integer," in json_option(o[0], o[1].name)["accepts"]]
NUMBERS = [o for o in NUMBERS if '"A / B"' not in json_option(o[0], o[1].name)["accepts"]]


@pytest.mark.parametrize(("header", "item", "kind"), NUMBERS, ids=[f"{h} {i.name}" for h, i, _ in NUMBERS])
def test_the_bounds_of_a_number_are_what_the_reader_accepts(header: str, item: Any, kind: Any) -> None:
    accepts = json_option(header, item.name)["accepts"]
    listed = accepts.startswith("list of ")
    bounds = accepts.partition(", ")[2]
    low, high = (bounds.removesuffix(" or more"), "2^53") if " or more" in bounds else bounds.split(" to ")

    def taken(number: int) -> bool:
        state = ReadingState(TomlFile("test", {}, {}), [])
        read_value(kind, [number] if listed else number, ("x",), state, item.metadata)
        return not state.problems

    assert [taken(number_of(low) + k) for k in (-1, 0)] == [False, True]
    assert [taken(number_of(high) + k) for k in (0, 1)] == [True, False]


def test_every_number_has_bounds() -> None:
    assert len(NUMBERS) >= 45
    assert "= integer  " not in TEXT
    assert "= list of integers  " not in TEXT


# --- what no option says --------------------------------------------------------------------------------------------


def test_gains_are_told_with_their_bounds() -> None:
    assert "The table gains gives the gain of a channel by name, such as gains = { a = 4 }" in squeezed(
        section("[mixer]")
    )
    assert "a whole number from 0 to 2^16; 1 where not given" in squeezed(section("[mixer]"))
    assert tiny("mixer.gains.x = 65536").mixer.gains == {"x": 65536}
    assert tiny("").mixer.gains == {"x": 1}
    for gain in (-1, 65537):
        with pytest.raises(ChipError, match=f"found {gain}, accepted: 0 to 65536"):
            tiny(f"mixer.gains.x = {gain}")


def test_a_list_with_an_entry_for_each_value_of_a_field_has_a_power_of_two_of_them() -> None:
    told = (
        "A list that has an entry for each value of a field (patterns, divisors, trims, routes) has 1, 2, 4, ... 256 of"
    )
    assert told in squeezed(TEXT)
    assert told in MARKDOWN
    noise = 'channel.x = {{ kind = "noise", register = {{ bits = 3, taps = [3, 2], output = 3 }}, step.divisors = {} }}'
    for text in ("channel.x.patterns = {}", noise, "mixer.trims = {}", "mixer.routes = {}"):
        item = '"1"' if "patterns" in text else "1"
        assert tiny(text.replace("{}", f"[{', '.join([item] * 4)}]").replace("{{", "{").replace("}}", "}"))
        with pytest.raises(ChipError, match="found 3 entries"):
            tiny(text.replace("{}", f"[{', '.join([item] * 3)}]").replace("{{", "{").replace("}}", "}"))


WHOLE = """
power = {}
unit.outputs = ["left", "right"]
mixer.trims = [1, 2]
channel.s = { patterns = ["10", "11"], gate = true, timer = {}, sweep = {}, envelope = { bypass = true } }
channel.w = { kind = "wave", table = { samples = 4, bits = 4 } }
"""
NOISE = """
[channel.n]
kind = "noise"
step = { divisors = [1, 2], shift_bits = 2 }
register = { bits = 3, taps = [3, 2], output = 3, short = { taps = [1], output = 1 } }
"""


def told_fields() -> str:
    text = squeezed(TEXT.split("\nFields and [constants]\n")[1].split("\nThe order of action\n")[0])
    assert text == squeezed(JSON["fields"])
    assert text in squeezed(MARKDOWN)
    return text


def all_fields() -> dict[str, int | None]:
    """Every field that a channel or the mixer can have, and its value where nothing drives it."""
    chip: dict[str, Any] = tomllib.loads(WHOLE + NOISE)
    chip["unit"] |= {"name": "All", "clock_hz": 1}
    chip["mixer"]["bits"] = 8
    for name, channel in chip["channel"].items():
        channel |= {"volume_bits": 4} | ({} if name == "n" else {"step": {"bits": 4}})
        for block, needed in (
            ("timer", {"bits": 3}),
            ("envelope", {"period_bits": 2}),
            ("sweep", {"period_bits": 2, "shift_bits": 2}),
        ):
            if block in channel:
                channel[block] |= {"ticks": "t"} | needed
        channel.setdefault("kind", "square")
    found = {}
    for name, spec in specs_of(chip).items():
        channel, _, rest = name.partition(".")
        if channel == "mixer":
            rest = "mixer.OUTPUT.trim" if rest.endswith("trim") else "mixer.OUTPUT.CHANNEL"
        found[rest or channel] = spec.unwired
    return found


def test_every_field_is_named_and_nothing_else_is() -> None:
    told = told_fields()
    names = set(all_fields()) - {"power"}
    lists = told.partition("A channel has: ")[2].partition(" The mixer has")[0]
    words = re.findall(r"[a-z]+(?:\.[a-z]+)?", re.sub(r"\([^)]*\)", "", lists.replace("or divisor", "divisor")))
    assert set(words) - {"and", "divisor"} | {"divisor"} == {name for name in names if not name.startswith("mixer")}
    assert {name for name in names if name.startswith("mixer")} == set(re.findall(r"mixer\.[A-Za-z.]+\b", told))
    assert "power" in section("[power]")


def test_the_value_of_a_field_that_nothing_drives_is_as_told() -> None:
    ones, zeros = re.findall(r"Defaults: (.*) 1; (.*) 0\.", told_fields())[0]
    told = dict.fromkeys(re.split(r", | and ", ones), 1) | dict.fromkeys(re.split(r", | and ", zeros), 0)
    assert told == {name: value for name, value in all_fields().items() if value is not None}


def test_strobes_and_states_are_those_that_a_register_may_name() -> None:
    told = told_fields()
    assert "strobe CHANNEL.start, CHANNEL.stop and DIVIDER.restart, and show CHANNEL.active" in told
    assert "a divider is a tick with its own every or a sequencer" in told
    text = """
    sequencers.march = {{ every = 5, first = 2, steps = 4 }}
    ticks.step = {{ sequencer = "march", at = [0] }}
    [[register]]
    name = "R"
    address = 50
    fields = [{{ bits = "0", {} = "{}" }}]
    """
    for role, name in (
        ("strobes", "x.start"),
        ("strobes", "x.stop"),
        ("strobes", "t.restart"),
        ("strobes", "march.restart"),
    ):
        assert tiny(text.format(role, name)).registers[50].fields[0].target == name
    assert tiny(text.format("shows", "x.active")).registers[50].fields[0].target == "x.active"
    with pytest.raises(
        ChipError, match=r"no event \"x\.active\" \(known: x\.start, x\.stop, march\.restart, t\.restart\)"
    ):
        tiny(text.format("strobes", "x.active"))
    with pytest.raises(ChipError, match=r'no event "step\.restart"'):
        tiny(text.format("strobes", "step.restart"))  # a tick of a sequencer restarts with it
    with pytest.raises(ChipError, match=r'no state "x\.start" \(known: x\.active\)'):
        tiny(text.format("shows", "x.start"))


def test_constants_are_told_by_an_example_that_works() -> None:
    assert '[constants], such as "a.timer.enable" = 1' in told_fields()
    chip = tiny('channel.a.timer = {}\n[constants]\n"a.timer.enable" = 1')
    assert chip.fields["a.timer.enable"].reset == 1
    bare = """
    format = 1
    unit = { name = "Bare", clock_hz = 1, outputs = ["out"] }
    mixer.bits = 4
    channel.x = { kind = "square", volume_bits = 1, patterns = ["1"], step.bits = 4 }
    constants = { "x.volume" = 1 }
    """
    with pytest.raises(ChipError, match=r"x\.period is driven by no register and has no constant"):
        parse_chip(bare)
    assert parse_chip(bare.replace('"x.volume" = 1', '"x.volume" = 1, "x.period" = 3'))


def test_the_fields_of_a_register_and_bits_left_out_are_told() -> None:
    part = squeezed(section("[[register]]"))
    assert "The list fields says what the bits do; bits that it leaves out do not exist and read 0." in part
    assert "exactly one of drives, strobes, shows" in squeezed(section("[[register]] fields"))


def test_the_order_of_action_follows_line_by_line() -> None:
    lines = JSON["order"]
    assert len(lines) == len(re.findall(r"^ \d\. ", ORDER, re.MULTILINE)) == 9
    order = squeezed(TEXT.split("\nThe order of action\n")[1])
    for number, line in enumerate(lines, 1):
        assert f"{number}. {line}" in order
        assert f"\n{number}. {line}\n" in MARKDOWN
        assert line in squeezed(ORDER.replace("`", ""))
    assert "`reference`" not in order


def test_without_the_engine_the_reference_has_no_order_of_action() -> None:
    assert "order of action" not in description_text()
    assert description_json()["order"] == []
