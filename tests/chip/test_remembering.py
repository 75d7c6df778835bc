"""What was worked out from a chip is kept for that chip object, and for no other."""

from __future__ import annotations

from psgmodel.chip import Chip, load_chip
from psgmodel.chip.remembering import MOST_KEPT, remembered

LINNET = "patches/linnet.toml"


def test_it_is_worked_out_once_for_a_chip_and_its_arguments() -> None:
    asked = []

    @remembered
    def name_of(chip: Chip, suffix: str) -> str:
        asked.append(suffix)
        return chip.unit.name + suffix

    chip = load_chip(LINNET)
    assert [name_of(chip, s) for s in ("-x", "-y", "-x")] == ["Linnet-x", "Linnet-y", "Linnet-x"]
    assert asked == ["-x", "-y"]


def test_another_chip_has_an_answer_of_its_own_though_chips_come_and_go() -> None:
    asked = []

    @remembered
    def number_of(chip: Chip) -> int:
        asked.append(id(chip))
        return len(asked)

    numbers = [number_of(load_chip(LINNET)) for _ in range(MOST_KEPT + 3)]
    assert numbers == list(range(1, MOST_KEPT + 4))


def test_the_oldest_answers_go() -> None:
    asked = []

    @remembered
    def twice(_: Chip, number: int) -> int:
        asked.append(number)
        return 2 * number

    chip = load_chip(LINNET)
    for number in (*range(MOST_KEPT + 1), MOST_KEPT, 0):
        assert twice(chip, number) == 2 * number
    assert asked == [*range(MOST_KEPT + 1), 0]
