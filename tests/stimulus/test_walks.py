"""Walks: every field through 0, each single bit and all ones, while its channel sounds."""

from __future__ import annotations

from random import Random

import numpy as np
import pytest

from psgmodel.chip import Chip
from psgmodel.engine import Trace, run
from psgmodel.errors import StimulusError
from psgmodel.reglog import RegisterLog, check_log
from psgmodel.reglog.bus import register_writes
from psgmodel.stimulus import walk_log
from tests.engine.tiny_units import tiny
from tests.stimulus.exported import LINNET_CHIP, SISKIN_CHIP

CHIPS = {"linnet": LINNET_CHIP, "siskin": SISKIN_CHIP}


@pytest.fixture(scope="module", params=list(CHIPS))
def walked(request: pytest.FixtureRequest) -> tuple[Chip, RegisterLog, Trace]:
    chip = CHIPS[request.param]
    log = walk_log(chip)
    return chip, log, run(chip, log)


def sets_of(chip: Chip, log: RegisterLog, name: str) -> dict[int, list[int]]:
    """Return each value that a field is given, with the cycles of the last write that made it so."""
    stored = {address: register.reset for address, register in chip.registers.items()}
    found: dict[int, list[int]] = {}
    segments = chip.fields[name].segments
    writes, _ = register_writes(chip, log)
    for cycle, address, value in zip(
        writes.cycle.tolist(), writes.address.tolist(), writes.value.tolist(), strict=True
    ):
        stored[address] = value
        if any(s.address == address for s in segments):
            whole = sum((stored[s.address] >> s.low & (1 << s.width) - 1) << s.field_low for s in segments)
            found.setdefault(whole, []).append(cycle)
    return found


def test_every_field_takes_every_value_of_the_walk(walked: tuple[Chip, RegisterLog, Trace]) -> None:
    chip, log, _ = walked
    check_log(log, chip)
    wired = [f for f in chip.fields.values() if f.segments]
    assert len(wired) > 20
    for field in wired:
        wanted = {0, (1 << field.bits) - 1, *(1 << bit for bit in range(field.bits))}
        assert wanted <= set(sets_of(chip, log, field.name)), field.name


def test_the_channel_of_a_field_sounds_just_before_each_of_its_values(walked: tuple[Chip, RegisterLog, Trace]) -> None:
    chip, log, trace = walked
    for field in chip.fields.values():
        name, _, rest = field.name.partition(".")
        channel = rest.split(".")[-1] if name == "mixer" else name
        if not field.segments or channel not in chip.channels:
            continue
        changes = trace[channel].cycle
        found = sets_of(chip, log, field.name)
        for value in {0, (1 << field.bits) - 1, *(1 << bit for bit in range(field.bits))}:
            before = [
                np.searchsorted(changes, cycle) - np.searchsorted(changes, cycle - 1500) for cycle in found[value]
            ]
            assert max(before) >= 2, f"{field.name} = {value}"


def test_a_walk_exercises_what_ticks_do(walked: tuple[Chip, RegisterLog, Trace]) -> None:
    """Envelopes give many levels; a timer's note ends of itself: levels are found that no volume write makes."""
    chip, _, trace = walked
    for name, channel in chip.channels.items():
        if channel.envelope is not None:
            loud = channel.volume_table or tuple(range(1 << channel.volume_bits))
            walked_volumes = {loud[v] for v in (0, *(1 << b for b in range(channel.volume_bits)), len(loud) - 1)}
            assert channel.kind == "wave" or set(trace[name].level.tolist()) - walked_volumes, name


@pytest.mark.parametrize("name", CHIPS)
def test_a_walk_is_the_same_each_time_and_can_be_short(name: str) -> None:
    short = walk_log(CHIPS[name], dwell=64, spacing=8)
    assert short == walk_log(CHIPS[name], dwell=64, spacing=8)
    assert short.end < walk_log(CHIPS[name]).end / 50
    assert np.diff(short.cycle).min() == 8


def test_wave_memories_are_filled_with_a_ramp_packed_as_the_unit_takes_it() -> None:
    # Section 4 of siskin.md: U_MEMORY at 0x40, sample 2i in bits 7:0 and sample 2i + 1 in bits 15:8 of index 0x40 + i.
    writes, _ = register_writes(SISKIN_CHIP, walk_log(SISKIN_CHIP, dwell=2))
    words = [v for a, v in zip(writes.address.tolist(), writes.value.tolist(), strict=True) if 0x40 <= a < 0x50]
    ramp = [byte for word in words for byte in (word & 0xFF, word >> 8)]
    assert (len(ramp), ramp[0], ramp[-1]) == (32, 0, 255)
    assert set(np.diff(ramp).tolist()) <= {8, 9}


@pytest.mark.parametrize("seed", range(12))
def test_any_generated_chip_can_be_walked(seed: int) -> None:
    from tests.laws.generators import draw_chip

    chip = draw_chip(Random(f"walk {seed}"))
    log = walk_log(chip, dwell=32)
    check_log(log, chip)
    assert run(chip, log).end == log.end


@pytest.mark.parametrize(
    ("numbers", "message"),
    [
        ({"spacing": 0}, "spacing 0, accepted: 1 and more"),
        ({"dwell": -1}, "a dwell of -1 cycles, accepted: 0 and more"),
    ],
)
def test_numbers_that_make_no_walk_are_refused(numbers: dict[str, int], message: str) -> None:
    with pytest.raises(StimulusError) as caught:
        walk_log(LINNET_CHIP, **numbers)
    assert str(caught.value) == message


def test_a_channel_that_rises_from_silence_is_heard() -> None:
    chip = tiny('constants = { "x.volume" = 0 }\n[channel.x]\nenvelope = {}\n')
    assert int(run(chip, walk_log(chip))["x"].level.max()) > 3
