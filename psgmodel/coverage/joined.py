"""Joined: fields that have bits in several registers, each register written alone.

Stage: coverage. In: a channel's `Reach`. Out: behaviours, written into a `Chapter`. A write to one register must leave
the bits in the others as they are; that is heard where some of them are set.
"""

from __future__ import annotations

import numpy as np

from psgmodel.coverage.bins import Chapter
from psgmodel.coverage.columns import Ints, Mask, ints, mask
from psgmodel.coverage.moments import Moments
from psgmodel.coverage.reach import Reach


def joined(c: Chapter, r: Reach) -> None:
    """Write down each register of each field that is joined from several."""
    one = r.once and r.played() < 2  # a note has one step, in which it matters what stands as it begins
    brief = not r.no_steps and r.lasts() < 3 * r.lengths()[0] * r.count
    for key, field in r.fields.items():
        addresses = tuple(dict.fromkeys(s.address for s in field.segments))
        for address in addresses if len(addresses) > 1 else ():
            register = r.chip.registers[address].name
            timed = key == "timer.length"
            c.add(
                f"{key}.{register}-alone",
                f"the {key} changed by {register} alone, bits of it set elsewhere, "
                + ("and a note of that length ends" if timed else "heard"),
                (lambda m, k=key, a=address: m.is_("ran_out") & m.sounded & (m.of_note(_last_by(m, k, a)) == 1))
                if timed
                else (lambda m, k=key, a=address: _heard(m, k, a, brief=brief, one=one)),
                r.written_together(address, addresses),
                r.no_timed_end() if timed else r.no_steps,
                by=key,
            )


def _by(m: Moments, key: str, address: int) -> Mask:
    """A field is changed by one of its registers alone, while bits of it are set in the others."""
    segments = m.chip.fields[f"{m.name}.{key}"].segments
    elsewhere = sum((1 << s.width) - 1 << s.field_low for s in segments if s.address != address)
    found = m.changed(key) & m.wrote_register(address) & (m.new(key) & elsewhere != 0)
    for other in {s.address for s in segments} - {address}:
        found &= ~m.wrote_register(other)
    return mask(found)


def _heard(m: Moments, key: str, address: int, *, brief: bool, one: bool) -> Mask:
    """What one register alone makes of a field stands for two steps of the waveform, heard; where notes are too brief
    for that, until the channel itself goes on; where a note has one step, from its start on."""
    by = _by(m, key, address)
    found = mask(by & (m.total(m.steps_made, m.stands(key), m.sounds) >= 2))
    if one:
        changed = m.changed(key)
        before = m.last_loaded(changed, ints(by))
        after = np.where(changed, by, before)
        whole = m.lasted(before, after, m.sounded, m.sounds, m.starts | m.goes_on, m.goes_on)
        return np.append(found, whole == 1)
    if not brief:
        return found
    stood = m.lasted(m.old(key), m.new(key), m.sounded, m.sounds, by, m.goes_on)
    return np.append(found, np.ones(stood.size, np.bool_))


def _last_by(m: Moments, key: str, address: int) -> Ints:
    """1 where a start sees a field as one register alone changed it (see `_by`), the field unchanged since."""
    here, changed = _by(m, key, address).astype(np.int64), m.changed(key)
    before = m.last_loaded(changed, here)
    return np.where(changed, here, before) if m.channel.start_delay == 0 else before
