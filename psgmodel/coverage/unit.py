"""Unit: what bus, registers, power bit, dividers and mixer can do.

Stage: coverage. In: a chip. Out: behaviours over `Happenings`.
"""

from __future__ import annotations

import numpy as np

from psgmodel.chip.channel import Channel
from psgmodel.chip.records import Chip, Register
from psgmodel.coverage.bins import Chapter
from psgmodel.coverage.clearing import cleared
from psgmodel.coverage.columns import Ints, Mask, ints, mask
from psgmodel.coverage.happenings import Happenings
from psgmodel.coverage.reach import Reach
from psgmodel.coverage.values import classes


def bus(c: Chapter, chip: Chip, reaches: dict[str, Reach], spacing: int) -> None:
    """Write down what the bus carries."""
    b = chip.bus
    c.add(
        "least-spacing",
        f"two writes {spacing} cycles apart",
        lambda h: np.diff(h.bus_cycle) == spacing,
    )
    for number, mirror in enumerate(chip.mirrors):
        c.add(
            f"mirror-{number}",
            f"a write to a mirror, 0x{mirror.address:02X} and on",
            lambda h, m=mirror: (h.bus_address >= m.address) & (h.bus_address < m.address + m.size),
            "" if any(_owned(chip, mirror.of + i) for i in range(mirror.size)) else "nobody owns what it mirrors",
        )
    if b.access == "index-data":
        size = 1 << b.index_bits
        step = b.index_step % size
        wide = "" if b.data_bits > b.index_bits else "the index is as wide as the data"
        c.add(
            "index-high",
            "an index with bits that are lost",
            lambda h: (h.port == b.index_address) & (h.bus_value >= size),
            wide,
        )
        c.add(
            "data-again",
            "data written twice without an index between",
            lambda h: (h.port[1:] == b.data_address) & (h.port[:-1] == b.data_address),
            _no_next(chip, step, size),
        )
        c.add(
            "index-wraps",
            "data written as the index steps past its end",
            lambda h: (h.address[1:] < h.address[:-1]) & (h.origin[1:] == h.origin[:-1] + 1) & bool(step),
            "" if step else "the index does not step",
            _no_wrap(chip, step, size),
        )
        for memory in chip.memories.values():
            c.add(
                f"index-steps-{memory.name}",
                f"{memory.name} written while idle, then where the index steps to, without an index between, heard",
                lambda h, n=memory.channel: _stepped_to(h, n),
                "" if step else "the index does not step",
                "" if min(step, size - step) < memory.size else f"the index steps past {memory.name}",
                reaches[memory.channel].silent,
                reaches[memory.channel].always_active,
            )
    if b.write_latency:
        c.add(
            "write-behind",
            "a write on the bus while another is on its way",
            lambda h: np.diff(h.bus_cycle) <= b.write_latency,
            "" if spacing <= b.write_latency else f"writes are {spacing} cycles apart and take {b.write_latency}",
        )


def _owned(chip: Chip, address: int) -> bool:
    """Tell whether a bus address, no mirror, takes writes."""
    if chip.bus.access == "index-data":
        return address in (chip.bus.index_address, chip.bus.data_address)
    return address in chip.registers or chip.memory_at(address) is not None


def _stepped_to(h: Happenings, name: str) -> Mask:
    """Tell where an idle wave memory is written by the index that the write before it left, and heard as it is."""
    memory, m = h.chip.memories[name], h.moments[name]
    table = h.chip.channels[name].table
    assert table is not None
    inside = (h.address >= memory.address) & (h.address < memory.address + memory.size) & h.power
    pairs = inside[1:] & inside[:-1] & (h.origin[1:] == h.origin[:-1] + 1) & (h.value[1:] != h.value[:-1])
    pairs &= h.address[1:] != h.address[:-1]
    found = np.zeros(h.edge.size, np.bool_)
    for i in (np.flatnonzero(pairs) + 1).tolist():
        row = int(np.searchsorted(m.edge, h.edge[i]))
        puts = np.flatnonzero(m.put[row + 1 :])
        until = row + 1 + int(puts[0]) if puts.size else m.edge.size
        places = (int(h.address[i]) - memory.address) * table.per_address + np.arange(table.per_address)
        ahead = (places[:, None] - m.position_after[row:until]) % m.places
        heard = m.sounds[row:until] & (ahead <= m.steps[row:until]).any(axis=0)
        found[i] = not m.was_active[row] and bool(heard.any())
    return found


def _registers(chip: Chip, size: int) -> set[int]:
    """Return everything that an index of a size finds."""
    owned = set(chip.registers) | {m.address + i for m in chip.memories.values() for i in range(m.size)}
    return {a for a in owned if a < size}


def _no_next(chip: Chip, step: int, size: int) -> str:
    """Say why the index never steps from something owned to something owned."""
    owned = _registers(chip, size)
    return (
        ""
        if any((a + step) % size in owned for a in owned)
        else f"no two registers lie {step} apart, as the index steps"
    )


def _no_wrap(chip: Chip, step: int, size: int) -> str:
    """Say why no two owned registers lie across the end of the index."""
    owned = _registers(chip, size)
    return (
        ""
        if any((a + step) % size in owned and a + step >= size for a in owned)
        else "no two registers lie so across the end of the index"
    )


def registers(c: Chapter, chip: Chip) -> None:
    """Write down what each register takes."""
    full = (1 << chip.bus.data_bits) - 1
    for address, register in chip.registers.items():
        strobes = _strobe_mask(register)
        acts = register.stored or strobes or register.on_write
        text = "written" if acts else "written, though it keeps nothing"
        c.add(f"{register.name}.written", f"{register.name} {text}", lambda h, a=address: h.written(a))
        spare = full & ~(register.stored | strobes)
        if spare and acts:
            c.add(
                f"{register.name}.spare",
                f"{register.name} written with 1 in bits that keep nothing",
                lambda h, a=address, s=spare: h.written(a) & (h.value & s == s),
            )
        for group in register.fields if len(_strobing(chip, register)) > 0 else ():
            if group.role == "strobes":
                c.add(
                    f"{register.name}.{group.target}",
                    f"{group.target} strobed by {register.name}, and nothing else with it",
                    lambda h, a=address, m=strobes, g=group: h.written(a) & (h.value & m == 1 << g.low),
                )
        if strobes and not register.on_write:
            c.add(
                f"{register.name}.no-strobe",
                f"{register.name} written without a strobe",
                lambda h, a=address, m=strobes: h.written(a) & (h.value & m == 0),
            )
    for address, release in chip.held().items():
        _held(c, chip, address, release)
    for memory in chip.memories.values():
        _memory(c, chip, memory.channel)


def _strobe_mask(register: Register) -> int:
    return sum(1 << g.low for g in register.fields if g.role == "strobes")


def _strobing(chip: Chip, register: Register) -> list[str]:
    return [g.target for g in register.fields if g.role == "strobes"]


def _held(c: Chapter, chip: Chip, address: int, release: int) -> None:
    """Write down what a register does that waits for another one."""
    name, other = chip.registers[address].name, chip.registers[release].name

    def waiting(h: Happenings) -> Ints:
        """How many writes wait at each write."""
        counts = np.cumsum(h.address == address)
        number = np.arange(counts.size)
        last = np.maximum.accumulate(np.append(-1, np.where(h.address == release, number, -1)))[:-1]
        return ints(counts - np.where(last >= 0, counts[last], 0))

    c.add(f"{name}.released", f"{name} written, then {other}", lambda h: h.written(release) & (waiting(h) == 1))
    c.add(f"{name}.last-counts", f"{name} written twice, then {other}", lambda h: h.written(release) & (waiting(h) > 1))
    c.add(
        f"{name}.none-waits", f"{other} written while nothing waits", lambda h: h.written(release) & (waiting(h) == 0)
    )


def _memory(c: Chapter, chip: Chip, name: str) -> None:
    """Write down what is put into a wave memory."""
    memory, table = chip.memories[name], chip.channels[name].table
    assert table is not None
    width = table.bits * table.per_address

    def inside(h: Happenings) -> Mask:
        return (h.address >= memory.address) & (h.address < memory.address + memory.size) & h.power

    for value in classes(width, each=False):
        c.add(
            f"{memory.name}={value}",
            f"{memory.name} written 0x{value:X}",
            lambda h, v=value: inside(h) & (h.value == v),
        )


def power(c: Chapter, chip: Chip, reaches: dict[str, Reach]) -> None:
    """Write down what the power bit does."""
    if chip.power is None:
        return
    switch = chip.fields["power"]
    fixed = "" if switch.segments else f"power is the constant {switch.reset}"
    at = switch.segments[0].address if switch.segments else -1
    bit = switch.segments[0].low if switch.segments else 0

    def to(h: Happenings, was: bool, now: int) -> Mask:
        return mask((h.address == at) & (h.power == was) & (h.value >> bit & 1 == now))

    c.add("off", "the power bit cleared", lambda h: to(h, True, 0), fixed)
    c.add("on", "the power bit set", lambda h: to(h, False, 1), fixed)
    c.add("kept-on", "the power bit written 1 while it is 1", lambda h: to(h, True, 1), fixed)
    c.add("kept-off", "the power bit written 0 while it is 0", lambda h: to(h, False, 0), fixed)
    stored = [a for a, r in chip.registers.items() if a != at and r.stored]
    strobing = [a for a, r in chip.registers.items() if a != at and (r.on_write or _strobe_mask(r))]
    lost = "a write to a register while the power is off"
    c.add("lost-write", lost, lambda h: ~h.power & np.isin(h.address, stored), fixed, "" if stored else "there is none")
    c.add(
        "lost-strobe",
        "a strobe while the power is off",
        lambda h: ~h.power & np.isin(h.address, strobing),
        fixed,
        "" if strobing else "there is none",
    )
    if chip.memories:
        c.add(
            "lost-sample",
            "a write to a wave memory while the power is off",
            lambda h: ~h.power & ~np.isin(h.address, list(chip.registers)),
            fixed,
        )
    if chip.registers[at].stored & ~(1 << bit) if switch.segments else False:
        c.add(
            "off-with-others",
            "the power bit cleared, other bits of its register set",
            lambda h: to(h, True, 0) & (h.value & chip.registers[at].stored != 0),
            fixed,
        )
    for name, reach in reaches.items():
        c.add(
            f"off-sounding-{name}",
            f"the power bit cleared while {name} sounds",
            lambda h, n=name: h.moments[n].is_("cleared") & h.moments[n].sounded,
            fixed,
            reach.silent,
        )
        if reach.channel.start_delay:
            c.add(
                f"off-under-way-{name}",
                f"the power bit cleared while a strobe of {name} is on its way",
                lambda h, n=name: h.moments[n].is_("cleared") & (h.moments[n].line_before > 0),
                fixed,
                reach.no_start,
                reach.under_way([at]),
            )
    cleared(c, chip, reaches, fixed)


def dividers(c: Chapter, chip: Chip, reaches: dict[str, Reach]) -> None:
    """Write down what restarts do."""
    for name, divider in chip.dividers.items():
        target = f"{name}.restart"
        if not any(target in r.on_write or target in _strobing(chip, r) for r in chip.registers.values()):
            continue
        period = divider.every
        ticks = [t for t, source in chip.ticks.items() if source.divider == name]
        places = ((0, "where a step of it is due"), (1, "one edge before"), (-1, "one edge after"))
        for place, text in places if period > 2 else places[:1]:
            c.add(
                f"restart-{name}{'' if place == 0 else '-early' if place == 1 else '-late'}",
                f"{name} restarted {text}",
                lambda h, n=name, p=place: _step_at(h, n, h.restarts(n), p),
            )
        c.add(
            f"restart-{name}-heard",
            f"{name} restarted while a channel sounds that it drives",
            lambda h, n=name, t=tuple(ticks): np.isin(h.restarts(n), _driven(h, t)),
            ""
            if any(
                _counted(r.channel) & set(ticks) and not r.never_active and not r.no_volume() for r in reaches.values()
            )
            else f"no channel that sounds counts ticks of {name}",
        )


def _step_at(h: Happenings, name: str, edges: np.ndarray[tuple[int], np.dtype[np.int64]], ahead: int) -> Mask:
    """Whether a divider would make a step at some edges, or `ahead` edges later, as it ran before them."""
    divider = h.chip.dividers[name]
    found = np.zeros(edges.size, np.bool_)
    for i, edge in enumerate(edges.tolist()):
        before = int(edges[i - 1]) if i else -1
        first = h.begin.dividers[name][0] if i == 0 else before + divider.after_restart
        at = edge + ahead
        found[i] = at >= first and (at - first) % divider.every == 0 and (i == 0 or at > before)
    return found


def _counted(channel: Channel) -> set[str]:
    """Return the ticks that a channel counts."""
    blocks = (channel.timer, channel.envelope, channel.sweep)
    return {b.ticks for b in blocks if b is not None} | ({channel.step.clocked_by} - {""})


def _driven(h: Happenings, ticks: tuple[str, ...]) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Return the restart edges at which some channel sounds whose blocks count some ticks."""
    edges = np.unique(np.concatenate([h.restarts(n) for n in h.chip.dividers] or [np.zeros(0, np.int64)]))
    heard = np.zeros(edges.size, np.bool_)
    for name, channel in h.chip.channels.items():
        if _counted(channel) & set(ticks) and edges.size:
            heard |= h.loud(name).at(edges) != 0
    return edges[heard]
