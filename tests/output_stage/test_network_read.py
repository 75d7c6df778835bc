from __future__ import annotations

from pathlib import Path

import pytest

from psgmodel.errors import StageError
from psgmodel.output_stage.loads import LINE_INPUT, Load, LoadKind
from psgmodel.output_stage.networks import (
    ActiveForm,
    ActiveSection,
    Ladder,
    OpAmpModel,
    PartKind,
    compile_ladder,
    parse_network,
    read_network,
    series,
    shunt,
)
from psgmodel.output_stage.networks.toml_lines import toml_lines
from tests.output_stage.network_examples import TEXTS, example

LADDER = """title = "two sections"

[pin]
resistance = 25

[[ladder]]
part = "resistor"
position = "series"
value = "1k"
node = "middle"

[[ladder]]
part = "capacitor"
position = "shunt"
value = "10n"
series-resistance = 0.5

[[ladder]]
part = "inductor"
position = "series"
value = "1m"
winding-resistance = "2R2"

[load]
kind = "line-input"
"""


def test_a_ladder_is_compiled_down_to_elements_between_named_nodes() -> None:
    network = parse_network(LADDER, file="stage.toml")
    rows = [(e.kind.letter, e.name, e.first, e.second, e.value) for e in network.elements]
    assert rows == [
        ("R", "R_pin", "source", "pin", 25.0),
        ("R", "R1", "pin", "middle", 1000.0),
        ("C", "C1", "middle", "C1_inner", 1e-8),
        ("R", "C1_loss", "C1_inner", "ground", 0.5),
        ("L", "L1", "middle", "L1_inner", 1e-3),
        ("R", "L1_loss", "L1_inner", "out", 2.2),
        ("R", "R_load", "out", "ground", 10e3),
    ]
    assert (network.title, network.source, network.pin, network.output) == ("two sections", "source", "pin", "out")
    assert network.load == LINE_INPUT
    assert network.nodes() == ("source", "pin", "middle", "C1_inner", "L1_inner", "out")


def test_each_element_remembers_the_line_it_was_described_on() -> None:
    network = parse_network(LADDER, file="stage.toml")
    lines = {e.name: e.place.line for e in network.elements if e.place}
    assert lines == {"R_pin": 4, "R1": 6, "C1": 12, "C1_loss": 12, "L1": 18, "L1_loss": 18, "R_load": 24}


def test_a_ladder_written_in_python_compiles_to_the_same_network_as_its_text() -> None:
    ladder = Ladder(
        "two RC",
        (
            series(PartKind.RESISTOR, 1e3),
            shunt(PartKind.CAPACITOR, 10e-9),
            series(PartKind.RESISTOR, 1e3),
            shunt(PartKind.CAPACITOR, 10e-9),
        ),
    )
    text = [(e.kind, e.name, e.first, e.second, e.value) for e in example("two equal RC").elements]
    assert [(e.kind, e.name, e.first, e.second, e.value) for e in compile_ladder(ladder).elements] == text


def test_an_active_section_brings_its_op_amp_and_its_reference() -> None:
    network = example("RC, multiple feedback about mid supply, coupled")
    amp = network.op_amps[0]
    assert (amp.name, amp.plus, amp.minus, amp.out) == ("U1", "U1_plus", "U1_minus", "U1_out")
    assert (amp.gain_bandwidth, amp.dc_gain) == (1e6, 2e5)
    assert [(r.name, r.node, r.volts) for r in network.references] == [("U1_reference", "U1_plus", 1.65)]
    assert network.element("U1_ro").value == 75


def test_a_network_can_stand_inside_a_larger_file() -> None:
    text = 'other = 1\n[stage.network]\ntitle = "inner"\n[[stage.network.ladder]]\npart = "resistor"\n'
    text += 'position = "series"\nvalue = "1k"\n[stage.network.load]\nkind = "line-input"\nresistnce = 3\n'
    with pytest.raises(StageError) as caught:
        parse_network(text, file="big.toml", under=("stage", "network"))
    assert str(caught.value) == (
        'big.toml:10: unknown key "resistnce" in [stage.network.load] (did you mean "resistance"?)'
    )
    network = parse_network(text.replace("resistnce", "resistance"), file="big.toml", under=("stage", "network"))
    assert network.element("R_load").value == 3
    with pytest.raises(StageError, match=r"^big.toml: has no table \[stage.net\]$"):
        parse_network(text, file="big.toml", under=("stage", "net"))


def test_a_load_may_depart_from_the_figures_of_its_kind() -> None:
    text = TEXTS["one RC"] + '[load]\nkind = "amplifier-input"\nresistance = "47k"\n'
    assert parse_network(text).load == Load(LoadKind.AMPLIFIER_INPUT, 47e3, 220e-12)


def test_every_problem_of_a_file_is_told_at_once_with_its_line() -> None:
    text = """titel = "wrong"
[pin]
resistance = "25 nF"
[[ladder]]
part = "resistro"
position = "series"
value = "1k"
[[ladder]]
part = "capacitor"
position = "shunt"
[[ladder]]
part = "capacitor"
position = "across"
value = "10n"
[[ladder]]
part = "inductor"
position = "series"
value = "1m"
series-resistance = 2
[[ladder]]
active = "sallen-key"
op-amp = "fast"
r1 = "1k"
r2 = "1k"
c1 = 5
c2 = "1x"
[load]
kind = "loudspeaker"
"""
    with pytest.raises(StageError) as caught:
        parse_network(text, file="stage.toml")
    told = str(caught.value).splitlines()
    assert sorted(told, key=lambda t: int(t.split(":")[1])) == [
        'stage.toml:1: unknown key "titel" (did you mean "title"?)',
        'stage.toml:3: resistance: found "25 nF", which is in farad; accepted is a number in ohm, or text such as '
        '"4.7k", "4k7" or "4.7 kΩ"',
        "stage.toml:5: part is 'resistro'; accepted: resistor, capacitor, inductor (did you mean \"resistor\"?)",
        'stage.toml:8: "value" is missing in [ladder.2]',
        "stage.toml:13: position is 'across'; accepted: series, shunt",
        'stage.toml:19: unknown key "series-resistance" in [ladder.4] (did you mean "winding-resistance"?)',
        'stage.toml:22: op amp "fast" is not described; accepted: none is described; add [op-amp.NAME]',
        'stage.toml:26: c2: found "1x"; accepted is a number in farad, or text such as "4.7k", "4k7" or "4.7 kF"',
        "stage.toml:28: kind is 'loudspeaker'; accepted: line-input, headphone, amplifier-input, own, open",
    ]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("[pin\n", r"^stage.toml:1:5: is not TOML: "),
        ("[pin]\nresistance = -3\n", r"^stage.toml:2: pin resistance is -3.0 Ω; accepted is zero or a positive value$"),
        ('[load]\nkind = "own"\n', r'^stage.toml:2: a load of kind "own" needs resistance, capacitance or both$'),
        ("load = 3\n", r"^stage.toml:1: load is 3; accepted is a table$"),
        ("ladder = 3\n", r"^stage.toml:1: ladder is 3; accepted is an array of tables, \[\[ladder\]\]$"),
        ('title = ""\n', r"^stage.toml:1: title is ''; accepted is one line of text$"),
        (
            TEXTS["one RC"].replace('value = "4k7"', 'value = "4k7"\nnode = "pin"'),
            r'^stage.toml:1: two sections of the ladder end in node "pin"$',
        ),
        (
            '[[element]]\npart = "resistor"\nfrom = "pin"\nto = "1x"\nvalue = 1\nname = "a"\n',
            r"^stage.toml:4: to is '1x'; accepted is a letter, then letters, digits and underscores$",
        ),
    ],
)
def test_a_wrong_file_is_refused_with_the_place(text: str, message: str) -> None:
    with pytest.raises(StageError, match=message):
        parse_network(text, file="stage.toml")


def test_a_file_that_cannot_be_read_is_refused_by_name(tmp_path: Path) -> None:
    with pytest.raises(StageError, match=r"absent.toml: cannot be read: "):
        read_network(tmp_path / "absent.toml")
    (tmp_path / "stage.toml").write_text(LADDER)
    assert read_network(tmp_path / "stage.toml").title == "two sections"


def test_lines_are_found_for_every_form_of_toml() -> None:
    text = (
        '# "a" = [1]\na = 1\n"b.c" = """\n[x]\n"""\n[t]\nd.e = { f = [\n 1,\n # ] }\n { g = "#" },\n] }\n'
        "[[u.v]]\nh = '''it's'''\n[u.v.w]\ni = 1979-05-27\n[[u.v]]\nh = 2 # end\n[[u.v.x]]\nj = [ ]\n"
    )
    lines = toml_lines(text)
    assert {k: v for k, v in lines.items() if len(k) > 1 or k[0] in ("a", "b.c")} == {
        ("a",): 2,
        ("b.c",): 3,
        ("t", "d"): 7,
        ("t", "d", "e"): 7,
        ("t", "d", "e", "f"): 7,
        ("t", "d", "e", "f", 0): 8,
        ("t", "d", "e", "f", 1): 10,
        ("t", "d", "e", "f", 1, "g"): 10,
        ("u", "v"): 12,
        ("u", "v", 0): 12,
        ("u", "v", 0, "h"): 13,
        ("u", "v", 0, "w"): 14,
        ("u", "v", 0, "w", "i"): 15,
        ("u", "v", 1): 16,
        ("u", "v", 1, "h"): 17,
        ("u", "v", 1, "x"): 18,
        ("u", "v", 1, "x", 0): 18,
        ("u", "v", 1, "x", 0, "j"): 19,
    }


def test_an_output_resistance_of_an_op_amp_lies_inside_the_feedback() -> None:
    section = ActiveSection(ActiveForm.SALLEN_KEY, 1e4, 1e4, 2e-9, 1e-9, OpAmpModel(1e6, 1e5, 75))
    network = compile_ladder(Ladder("follower", (section,)))
    assert network.op_amps[0].minus == "out"
    assert (network.element("U1_ro").first, network.element("U1_ro").second) == ("U1_out", "out")
