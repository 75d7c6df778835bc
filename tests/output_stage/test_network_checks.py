from __future__ import annotations

import pytest

from psgmodel.errors import Place, StageError
from psgmodel.output_stage.networks import (
    Element,
    Network,
    NoteKind,
    OpAmp,
    PartKind,
    check_network,
    network_notes,
    parse_network,
    state_space,
)
from tests.output_stage.network_examples import HEADPHONE, LINE, QUICK, TEXTS, c, coil, example, own, pin, r, sallen_key

R, C, L = PartKind.RESISTOR, PartKind.CAPACITOR, PartKind.INDUCTOR


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (r("1k") + c("-10n"), r"^stage.toml:5: capacitor C1 is -10 nF; accepted is a positive value$"),
        (
            r(0) + c("10n"),
            r"^stage.toml:1: resistor R1 is 0 Ω; accepted is a positive value "
            r"\(an ideal wire is no part: join the two nodes\)$",
        ),
        (
            r("1k") + c("10n") + c("10u", "series"),
            r'^stage.toml:9: node "out" floats: it has no path to ground for direct current \(at C2\) '
            r"\(give it a load or resistor\)$",
        ),
        (
            c("10n", "shunt") + r("1k") + c("10n"),
            r"^stage.toml:1: capacitor C1 lies across the ideal pin, alone or through capacitors: every edge would "
            r"need an unlimited current \(give the pin its output resistance\)$",
        ),
        (
            coil("1m", "shunt") + LINE,
            r"^stage.toml:1: inductor L1 closes a loop without resistance: its direct current has no limit "
            r"\(give it its winding resistance\)$",
        ),
        (
            r("1k", more='name = "x"') + c("1n", more='name = "X"'),
            r'^stage.toml:6: the name "X" is used twice \(case does not count\)$',
        ),
        (
            sallen_key("1k", "1k", "1n", "1n") + QUICK.replace('"10M"', "0"),
            r"^stage.toml:1: gain-bandwidth of op amp U1 is 0 Hz; accepted is a positive value$",
        ),
        (
            'output = "outt"\n' + r("1k") + c("10n"),
            r'the output node "outt" is nowhere in the network; it has pin, out \(did you mean "out"\?\)$',
        ),
    ],
)
def test_a_network_without_a_single_finite_answer_is_refused_with_the_place(text: str, message: str) -> None:
    with pytest.raises(StageError, match=message):
        parse_network(text, file="stage.toml")


def free(kind: str, name: str, first: str, second: str, value: str) -> str:
    return f'[[element]]\npart = "{kind}"\nname = "{name}"\nfrom = "{first}"\nto = "{second}"\nvalue = "{value}"\n'


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            free("resistor", "R1", "pin", "out", "1k") + free("capacitor", "C1", "a", "b", "1n"),
            r'^stage.toml:7: node "a" floats: it has no path to ground \(at C1\) \(node names are compared letter by',
        ),
        (
            free("resistor", "R1", "pin", "out", "1k") + free("capacitor", "C1", "out", "gnd", "1n"),
            r'^stage.toml:7: node "gnd" floats: .* \(at C1\) \(did you mean "ground"\?\)$',
        ),
        (
            free("resistor", "R1", "pin", "out", "1k") + free("resistor", "R2", "out", "out", "1n"),
            r'^stage.toml:7: both ends of resistor R2 are on node "out"$',
        ),
        (
            free("resistor", "R1", "pin", "out", "1k") + free("resistor", "R2", "Out", "ground", "1k"),
            r"^nodes that differ only in case: out, Out; accepted is one spelling$",
        ),
        (
            free("resistor", "R1", "pin", "out", "1k") + '[[element]]\nreference = 1\nname = "v"\nto = "pin"\n',
            r'^stage.toml:7: v holds node "pin", which the pin holds already$',
        ),
    ],
)
def test_parts_between_nodes_are_checked_too(text: str, message: str) -> None:
    with pytest.raises(StageError, match=message):
        parse_network(text, file="stage.toml")


def test_several_faults_of_a_network_are_told_together() -> None:
    elements = (
        Element(R, "R1", "pin", "out", -1.0, Place("x", 1)),
        Element(C, "C1", "out", "out", 1e-9, Place("x", 2)),
    )
    with pytest.raises(StageError) as caught:
        check_network(Network("faulty", elements, source="pin"))
    assert len(caught.value.problems) == 2


def test_a_capacitor_bridge_behind_a_resistor_is_legal() -> None:
    assert check_network(example("bridge of parts between nodes")) is None


def test_an_op_amp_with_its_inputs_swapped_is_refused_as_unstable() -> None:
    amp = OpAmp("U1", "out", "pin", "out", 1e6, 1e5, Place("stage.toml", 7))
    network = Network("swapped", (Element(R, "R1", "out", "ground", 1e4),), (amp,), source="pin")
    with pytest.raises(
        StageError, match=r"^stage.toml:7: the network is unstable: it swings up by itself at 0 Hz"
    ) as e:
        state_space(network)
    assert "are the plus and minus inputs swapped?" in str(e.value)


def test_a_loss_free_resonance_is_refused_because_it_never_settles() -> None:
    network = parse_network(coil("1m") + c("10n"))
    with pytest.raises(StageError, match=r"^the network swings for ever at 5.033e\+04 Hz once struck: nothing in it"):
        state_space(network)


# Notes: legal but odd.


@pytest.mark.parametrize(
    ("text", "kind", "note"),
    [
        (
            pin(25) + r("1k") + c(15) + LINE,
            NoteKind.UNLIKELY_VALUE,
            "stage.toml:7: capacitor C1 is 15 F: unlikely at an audio output (15 µF?)",
        ),
        (
            r("1m") + c("10n") + LINE,
            NoteKind.UNLIKELY_VALUE,
            "stage.toml:1: resistor R1 is 1 mΩ: unlikely at an audio output (1 Ω?)",
        ),
        (
            pin(25) + coil(22) + c("10n") + LINE,
            NoteKind.UNLIKELY_VALUE,
            "stage.toml:3: inductor L1 is 22 H: unlikely at an audio output (22 µH?)",
        ),
        (
            r("25k") + c("220u", "series") + HEADPHONE,
            NoteKind.LITTLE_REACHES_LOAD,
            "stage.toml:1: at best 0.13 % of the pin voltage (-57.9 dB) reaches the load of 32 Ω (R1 25 Ω?)",
        ),
        (
            r("1k") + c("10u") + LINE,
            NoteKind.AUDIO_HELD_BACK,
            "stage.toml:5: 1 kHz comes out 35 dB below the strongest frequency: the audio band is held back "
            "(capacitors a thousand times smaller?)",
        ),
        (
            r("1k") + c("10p") + LINE,
            NoteKind.NOTHING_HELD_BACK,
            "stage.toml:5: 10 MHz comes out only 1.2 dB below the strongest frequency: the filter holds nothing back "
            "(capacitors a thousand times larger?)",
        ),
        (
            r("390") + c("10n") + HEADPHONE,
            NoteKind.DIRECT_CURRENT,
            "stage.toml:9: direct current reaches the headphone: 0.0758 V for each volt at the pin. It heats the voice "
            "coil, and a stalled output holds it there; follow the headphone's data sheet (add a coupling capacitor)",
        ),
        (
            c("220u", "series") + HEADPHONE,
            NoteKind.HEAVY_ON_PIN,
            "the pin sees as little as 32 Ω, at 100 MHz: each volt of swing asks 31.25 mA of it. A drive setting "
            "limits no current; follow the data sheet of the device (add a series resistor or a buffer)",
        ),
        (
            r("1k") + c("10n") + LINE + free("resistor", "spare", "out", "x", "1k"),
            NoteKind.DEAD_END,
            'stage.toml:11: resistor spare leads nowhere: nothing else is on node "x"',
        ),
    ],
)
def test_what_is_legal_but_odd_is_noted_with_the_likely_slip(text: str, kind: NoteKind, note: str) -> None:
    notes = [n for n in network_notes(parse_network(text, file="stage.toml")) if n.kind is kind]
    assert [str(n) for n in notes] == [note]


def test_a_filter_a_thousand_times_too_small_is_noted() -> None:
    notes = network_notes(parse_network(r("1k") + c("1p") + own("10k"), file="stage.toml"))
    assert [str(n) for n in notes] == [
        "stage.toml:5: 10 MHz comes out only 0.0 dB below the strongest frequency: the filter holds nothing back "
        "(capacitors a thousand times larger?)"
    ]


HEAVY = (
    "LC Butterworth into 8 ohm",
    "shunt coil behind a coupling capacitor",
    "two coils in series",
    "bridge of parts between nodes",
)


@pytest.mark.parametrize("name", [n for n in TEXTS if n not in HEAVY])
def test_a_sound_network_earns_no_note(name: str) -> None:
    assert network_notes(example(name)) == ()
