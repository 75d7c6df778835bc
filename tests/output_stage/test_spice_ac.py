from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from psgmodel.errors import StageError
from psgmodel.output_stage.networks import frequency_response, netlist_ac
from tests.output_stage.network_examples import TEXTS, example
from tests.output_stage.spice_runner import run_ngspice


# Source of truth: ngspice itself, run on the exported netlist (checks.md 11 asks 1e-9).
@pytest.mark.parametrize("name", TEXTS)
def test_ngspice_finds_the_same_frequency_response_at_every_node(name: str, tmp_path: Path) -> None:
    network = example(name)
    nodes = network.nodes()
    table = run_ngspice(netlist_ac(network, start=1.0, stop=1e7, points_per_decade=10, nodes=nodes), tmp_path, "ac.dat")
    response = frequency_response(network, table[:, 0])
    assert table.shape == (71, 1 + 2 * len(nodes) + 2)
    for i, node in enumerate(nodes):
        spice = table[:, 1 + 2 * i] + 1j * table[:, 2 + 2 * i]
        ours = response.voltage(node)
        # Relative to the node's own size, but not below what 1 V at the pin leaves of double precision.
        np.testing.assert_allclose(ours, spice, rtol=1e-9, atol=1e-15, err_msg=node)


@pytest.mark.parametrize("name", TEXTS)
def test_ngspice_finds_the_same_current_out_of_the_pin(name: str, tmp_path: Path) -> None:
    network = example(name)
    table = run_ngspice(netlist_ac(network, start=10.0, stop=1e7, points_per_decade=10), tmp_path, "ac.dat")
    spice = table[:, -2] + 1j * table[:, -1]
    np.testing.assert_allclose(frequency_response(network, table[:, 0]).pin_current(), spice, rtol=1e-9, atol=1e-16)


def test_the_first_line_of_a_netlist_is_its_title_and_nodes_keep_their_names() -> None:
    lines = netlist_ac(example("one RC into a line input"), start=1, stop=1e6).splitlines()
    assert lines[:6] == [
        "one RC into a line input",
        "Vsource source 0 DC 0 AC 1",
        "R_pin source pin 25.0",
        "R1 pin out 1000.0",
        "C1 out 0 1e-08",
        "R_load out 0 10000.0",
    ]
    assert lines[-1] == ".end"


def test_a_sweep_that_runs_backwards_is_refused() -> None:
    with pytest.raises(StageError, match=r"^a sweep from 100 to 10 Hz; accepted is 0 < start < stop$"):
        netlist_ac(example("one RC"), start=100, stop=10)


def test_a_node_that_the_network_does_not_have_is_refused_with_the_nearest() -> None:
    with pytest.raises(StageError, match=r'no node "ouy"; it has pin, out \(did you mean "out"\?\)'):
        netlist_ac(example("one RC"), start=1, stop=10, nodes=("ouy",))
