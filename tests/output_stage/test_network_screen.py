from __future__ import annotations

import numpy as np
import pytest

from psgmodel.errors import StageError
from psgmodel.output_stage.loads import HEADPHONE, LINE_INPUT, Load, LoadKind
from psgmodel.output_stage.networks import (
    ActiveForm,
    ActiveSection,
    Ladder,
    OpAmpModel,
    PartKind,
    compile_ladder,
    frequency_response,
    screen_ladder,
    screen_network,
    series,
    shunt,
    with_load,
)
from psgmodel.output_stage.parts import Series, preferred_values

R, C, L = PartKind.RESISTOR, PartKind.CAPACITOR, PartKind.INDUCTOR
PASSIVE = Ladder(
    "candidates",
    (
        series(R, 1e3),
        shunt(C, 1e-8, loss=0.3),
        series(L, 1e-3, loss=2.0),
        shunt(C, 1e-9),
        series(C, 1e-5),
        shunt(L, 0.5, loss=40.0),
    ),
    Load(LoadKind.OWN, 10e3, 200e-12),
    25.0,
)
ACTIVE = Ladder(
    "active candidates",
    (
        series(R, 100.0),
        series(L, 1e-5),
        ActiveSection(ActiveForm.SALLEN_KEY, 1e4, 1e4, 2e-9, 1e-9, OpAmpModel(3e6, 1e5, 50.0)),
    ),
    LINE_INPUT,
)
FREQUENCY = np.array([10.0, 1e3, 2e4, 3.3e5, 1e7])


def candidates(names: list[str], count: int) -> dict[str, np.ndarray]:
    """Preferred values within two decades of each part, drawn at random."""
    rng = np.random.default_rng(3)
    ranges = {"R": (100.0, 1e4), "C": (1e-9, 1e-7), "L": (1e-4, 1e-2)}
    letters = {n: n.split("_")[-1][0].upper() if n[0] == "U" else n[0] for n in names}
    return {n: rng.choice(preferred_values(Series.E12, *ranges[letters[n]]), count) for n in names}


# The nodal analysis is the judge: it is itself held against ngspice.
@pytest.mark.parametrize("names", [["R1"], ["R1", "C1", "L1"], ["C2", "C3", "L2", "R_load", "R_pin", "L1_loss"]])
def test_screening_a_ladder_gives_each_candidate_its_own_frequency_response(names: list[str]) -> None:
    values = candidates(names, 12)
    both = [
        screen_ladder(PASSIVE, FREQUENCY, values),
        screen_network(compile_ladder(PASSIVE), FREQUENCY, values),
    ]
    for i in range(12):
        network = compile_ladder(PASSIVE)
        elements = tuple(
            type(e)(e.kind, e.name, e.first, e.second, float(values[e.name][i]) if e.name in values else e.value)
            for e in network.elements
        )
        network = type(network)(network.title, elements, source=network.source, output=network.output)
        wanted = frequency_response(network, FREQUENCY)
        for found in both:
            assert found.transfer.shape == found.input_impedance.shape == (12, 5)
            np.testing.assert_allclose(found.transfer[i], wanted.output(), rtol=1e-9)
            np.testing.assert_allclose(found.input_impedance[i], 1 / wanted.pin_current(), rtol=1e-9)


def test_screening_a_network_with_an_op_amp_gives_each_candidate_its_own_frequency_response() -> None:
    values = candidates(["R1", "L1", "U1_r1", "U1_c2"], 7)
    found = screen_network(compile_ladder(ACTIVE), FREQUENCY, values)
    for i in range(7):
        section = ACTIVE.sections[2]
        assert isinstance(section, ActiveSection)
        chosen = ActiveSection(
            section.form, float(values["U1_r1"][i]), section.r2, section.c1, float(values["U1_c2"][i]), section.op_amp
        )
        one = Ladder("one", (series(R, float(values["R1"][i])), series(L, float(values["L1"][i])), chosen), LINE_INPUT)
        np.testing.assert_allclose(
            found.transfer[i], frequency_response(compile_ladder(one), FREQUENCY).output(), rtol=1e-9
        )


def test_without_candidates_the_ladder_itself_is_screened() -> None:
    found = screen_ladder(with_load(PASSIVE, HEADPHONE), FREQUENCY, {})
    wanted = frequency_response(compile_ladder(with_load(PASSIVE, HEADPHONE)), FREQUENCY).output()
    np.testing.assert_allclose(found.transfer, wanted[None, :], rtol=1e-9)


def test_an_open_ladder_asks_nothing_of_the_pin() -> None:
    found = screen_ladder(Ladder("open", (series(R, 1e3),)), [1e3], {})
    assert np.isinf(found.input_impedance).all()
    np.testing.assert_allclose(found.transfer, 1.0)


@pytest.mark.parametrize(
    ("values", "frequency", "message"),
    [
        ({"R9": [1.0]}, [1.0], r'^the network has no element "R9"; it has R_pin, R1, '),
        ({"R1": [1.0, 2.0], "C1": [1.0] * 3}, [1.0], r"^candidate values of different counts: 2, 3$"),
        ({"R1": [1.0, 0.0]}, [1.0], r"^candidate values must be positive$"),
        ({"R1": [1.0]}, [0.0], r"^frequencies of a screening must be a list of finite numbers in hertz above zero$"),
    ],
)
def test_a_screening_that_makes_no_sense_is_refused(
    values: dict[str, list[float]], frequency: list[float], message: str
) -> None:
    for screen in (
        lambda: screen_ladder(PASSIVE, frequency, values),
        lambda: screen_network(compile_ladder(PASSIVE), frequency, values),
    ):
        with pytest.raises(StageError, match=message):
            screen()


def test_an_active_section_is_sent_to_the_general_screening() -> None:
    with pytest.raises(StageError, match=r"is no passive ladder \(use screen_network\)$"):
        screen_ladder(ACTIVE, [1.0], {})
