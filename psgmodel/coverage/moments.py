"""Moments: what happened to a channel, as columns.

Stage: coverage. In: the rows of a `WatchedChannel`, what the mixer lets through. Out: arrays with an entry for each
edge that was shown, among them the questions that behaviours ask: was it heard, was a step due. Whoever shows the
edges, one by one or only those at which something happens, the answers are the same.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property

import numpy as np

from psgmodel.chip.channel import NoiseClock
from psgmodel.chip.records import Chip
from psgmodel.coverage.columns import NEVER, Columns, Ints, Mask, ints, mask
from psgmodel.coverage.reach import moved
from psgmodel.engine.mixing import gated
from psgmodel.steps import Steps, constant_steps, steps_from_rising, sum_steps


class Moments(Columns):
    """The edges at which something happened to a channel, and what was the matter there."""

    # --- who acts -------------------------------------------------------------------------------------------------

    @cached_property
    def starts(self) -> Mask:
        """A start acts."""
        return self.is_("start")

    @cached_property
    def stops(self) -> Mask:
        """A stop acts, and no start."""
        return self.is_("stop")

    @cached_property
    def was_active(self) -> Mask:
        """The channel was active before the edge."""
        return self.is_("active")

    @cached_property
    def is_active(self) -> Mask:
        """It is active after the edge."""
        return self.is_("after")

    @cached_property
    def plays_on(self) -> Mask:
        """Active before, no start acts, and nothing is cleared."""
        return self.was_active & ~self.starts & ~self.is_("cleared")

    # --- heard ----------------------------------------------------------------------------------------------------

    def _loud(self, volume: Ints) -> Mask:
        """Return where a volume makes a level that is not silence."""
        channel = self.channel
        if channel.table is not None and channel.table.volume == "shift":
            return np.ones(volume.shape, np.bool_)
        if channel.volume_table:
            return mask(np.array(channel.volume_table)[volume] != 0)
        return mask(volume != 0)

    def volume(self, after: bool) -> Ints:
        """Return the volume in force before or after the edges: of the envelope, or of the field."""
        field = self.new("volume") if after else self.old("volume")
        if self.channel.envelope is None:
            return field
        bypass = self.new("envelope.bypass") if after else self.old("envelope.bypass")
        return np.where(bypass == 1, field, self.level_after if after else self.level)

    @cached_property
    def routed(self) -> Mask:
        """An output lets the channel through."""
        return self.routes.at(self.edge) != 0 if self.edge.size else np.zeros(0, np.bool_)

    @cached_property
    def was_routed(self) -> Mask:
        """An output let the channel through before the edge."""
        return mask(self.routes.at(np.maximum(self.edge - 1, self.routes.start)) != 0)

    @cached_property
    def sounds(self) -> Mask:
        """The channel is heard after the edge."""
        return self.is_active & self._loud(self.volume(True)) & self.routed

    @cached_property
    def sounded(self) -> Mask:
        """The channel was heard before the edge."""
        return self.was_active & self._loud(self.volume(False)) & self.was_routed

    @cached_property
    def heard(self) -> Mask:
        """The channel was or is heard, so that what happens makes a difference."""
        return self.sounds | self.sounded

    # --- what is due by the state before the edge, whatever else happens there --------------------------------------

    @cached_property
    def expiry_due(self) -> Mask:
        """The note timer would run out at the edge."""
        due: Mask = self.timer_tick & self.was_active & (self.old("timer.enable") == 1) & (self.timer == 1)
        return due

    @cached_property
    def timer_counts(self) -> Mask:
        """The note timer would go down at the edge, and not run out."""
        counts: Mask = self.timer_tick & self.was_active & (self.old("timer.enable") == 1)
        return counts & ~self.expiry_due

    def ticks_of(self, block: str, period: Ints) -> Ints:
        """Return how many ticks a period of envelope or sweep means; 0: it stands still."""
        options = self.channel.envelope if block == "envelope" else self.channel.sweep
        assert options is not None
        return np.where(period == 0, 1 << options.period_bits, period) if options.period_zero == "longest" else period

    @cached_property
    def fade_counts(self) -> Mask:
        """An envelope tick would count at the edge, with or without a step."""
        moves = self.ticks_of("envelope", self.old("envelope.period")) > 0
        return mask(self.fade_tick & self.was_active & moves)

    @cached_property
    def fade_due(self) -> Mask:
        """The envelope would make a step at the edge."""
        return self.fade_counts & (self.fade_count <= 1)

    def of_block(self, block: str, field: str) -> Ints:
        """Return a field of envelope or sweep as a tick at the edge sees it."""
        options = self.channel.envelope if block == "envelope" else self.channel.sweep
        assert options is not None
        return self.at_tick(f"{block}.{field}", options.write_and_tick)

    def made(self, block: str) -> Mask:
        """Return where envelope or sweep makes a step in a note that plays on, the writes of the edge taken in."""
        tick, count = (self.fade_tick, self.fade_count) if block == "envelope" else (self.glide_tick, self.glide_count)
        moves = self.ticks_of(block, self.of_block(block, "period")) > 0
        return self.once(("made", block), lambda: mask(self.plays_on & tick & moves & (count <= 1)))

    @cached_property
    def fade_at_end(self) -> Mask:
        """A step of the envelope would go past the end."""
        assert self.channel.envelope is not None
        largest, step = (1 << self.channel.volume_bits) - 1, self.channel.envelope.step
        rising = self.of_block("envelope", "rising") == 1
        return np.where(rising, self.level + step > largest, self.level - step < 0)

    @cached_property
    def glide_counts(self) -> Mask:
        """A sweep tick would count at the edge, with or without a step."""
        moves = self.ticks_of("sweep", self.old("sweep.period")) > 0
        return mask(self.glide_tick & self.was_active & moves)

    @cached_property
    def glide_due(self) -> Mask:
        """The sweep would make a step at the edge."""
        return self.glide_counts & (self.glide_count <= 1)

    @cached_property
    def moved(self) -> Ints:
        """The period that a sweep step at the edge would make, before it is fitted to its width."""
        return self.moved_on(self.swept_from)

    def moved_on(self, period: Ints) -> Ints:
        """Return what a sweep step at the edge would make of a period, before it is fitted to its width."""
        assert self.channel.sweep is not None
        shift, falling = self.of_block("sweep", "shift"), self.of_block("sweep", "falling")
        return moved(self.channel.sweep, period, shift, falling, self.size)

    @cached_property
    def swept_from(self) -> Ints:
        """The period on which a sweep step works: the one before the edge, or the copy."""
        sweep = self.channel.sweep
        return self.shadow if sweep is not None and sweep.works_on == "shadow" else self.old("period")

    @property
    def size(self) -> int:
        """Number of periods."""
        return 1 << self.chip.fields[f"{self.name}.period"].bits

    @cached_property
    def overflow_due(self) -> Mask:
        """The sweep would make a step at the edge whose result does not fit."""
        return self.glide_due & self.unfit(self.moved)

    def unfit(self, period: Ints) -> Mask:
        """Return where a period that a sweep step makes does not fit."""
        return mask((period < 0) | (period >= self.size))

    @cached_property
    def to_go(self) -> Ints:
        """Counts up to and with the end of the running step; a large number where none ends."""
        down = self.channel.step.new_value == "next-step"
        counts = self.count + 1 if down else np.maximum(1, self.length - self.count)
        return np.where(self.was_active & (self.length > 0), counts, NEVER)

    @cached_property
    def step_due(self) -> Mask:
        """A step of the waveform would end at the edge."""
        return mask((self.to_go == 1) & self.clock_tick)

    @cached_property
    def step_due_next(self) -> Mask:
        """A step of the waveform would end at the next edge that counts; the step has two counts or more."""
        return mask((self.to_go == 2) & self.clock_tick & (self.length > 1))

    @cached_property
    def step_just_begun(self) -> Mask:
        """No count of the running step has passed yet, and it has two or more."""
        return mask((self.to_go == self.length) & (self.length > 1) & self.clock_tick)

    # --- what blocks would do ---------------------------------------------------------------------------------------

    @cached_property
    def loaded(self) -> Ints:
        """What a start would load into the note timer."""
        assert self.channel.timer is not None
        length, size = self.seen("timer.length"), 1 << self.channel.timer.bits
        return length if self.channel.timer.loads == "field" else (size - length) % size

    def of_note(self, value: Ints) -> Ints:
        """Return what a value was at the start that loaded the note timer: the last one before each edge; where the
        timer runs out at a start, at that one."""
        assert self.channel.timer is not None
        loads = self.starts if self.channel.timer.on_start == "always" else self.starts & (self.timer == 0)
        return np.where(self.starts & self.is_("ran_out"), value, self.last_loaded(loads, value))

    def new_length(self) -> Ints:
        """Return the counts of a step by the fields after the edges."""
        step = self.channel.step
        if isinstance(step, NoiseClock):
            counts = np.array(step.divisors)[self.new("divisor")] << self.new("shift")
            return np.where(np.isin(self.new("shift"), step.stopped), NEVER, counts)
        return step.scale * (
            self.new("period") + step.offset if step.rule == "up-from" else step.top - self.new("period")
        )

    def first_position(self) -> int:
        """Return the position to which a start goes where it resets it."""
        return self.channel.table.start_position if self.channel.table else 0

    @cached_property
    def put(self) -> Mask:
        """The wave memory is written."""
        return self.samples_written > 0

    @cached_property
    def ends_by_wave(self) -> Mask:
        """The wave goes past its last sample."""
        assert self.channel.table is not None
        return mask(self.is_("advanced") & (self.position == self.channel.table.samples - 1) & ~self.is_active)

    @cached_property
    def has_shifted(self) -> Mask:
        """The noise register has shifted since the last start, or since reset."""
        since = np.cumsum(self.advanced + np.append(0, self.steps[:-1]))
        last = np.maximum.accumulate(np.where(np.append(False, self.starts[:-1]), np.append(0, since[:-1]), 0))
        return since - last > 0

    @cached_property
    def places(self) -> int:
        """Number of positions of the pattern or wave; 1 for noise."""
        c = self.channel
        return c.table.samples if c.table else len(c.patterns[0]) if c.patterns else 1

    def visits(self, place: int) -> Mask:
        """A position is heard at some time from an edge to the next one that is shown: for each edge with sound."""
        small = np.int16 if self.places < 1 << 14 else np.int64
        before = place - self.once("heard from", lambda: self.position_after[self.sounds].astype(small))
        before[before < 0] += self.places
        most = self.once("heard steps", lambda: np.minimum(self.steps[self.sounds], self.places).astype(small))
        return before <= most

    @cached_property
    def wraps(self) -> Mask:
        """The waveform goes from its last position to the first one, at an edge or after it."""
        here = self.is_("advanced") & (self.position == self.places - 1) & ~self.starts
        return mask(here | (self.position_after + self.steps >= self.places))

    @cached_property
    def ends(self) -> Mask:
        """The channel itself ends the note."""
        table = self.channel.table
        ends = self.is_("ran_out") | self.is_("faded") | self.is_("over")
        return ends | self.ends_by_wave if table is not None and table.after_last == "stop" else ends

    @cached_property
    def goes_on(self) -> Mask:
        """The channel itself goes on to something else: envelope or sweep makes a step, or the note ends."""
        found = self.ends
        for block in ("envelope", "sweep"):
            found = found | self.made(block) if getattr(self.channel, block) is not None else found
        return mask(found)

    # --- sums over stretches ------------------------------------------------------------------------------------------

    @cached_property
    def steps_made(self) -> Ints:
        """Steps of the waveform from each edge, without it, to the next one that is shown, with it."""
        return ints(self.steps + np.append(self.advanced[1:], 0))

    def shifts(self, short: int, *, on: bool) -> Ints:
        """Return the shifts of a noise register in one mode, heard, in a row; `on`: a pause does not end the row."""
        mode = self.stands("short")
        where = self.sounds & (mode == short)
        counts = np.where(where, self.steps_made, 0)
        return self.total(counts, mode, np.ones_like(where)) if on else self.total(counts, mode, where)


def routed_over_time(chip: Chip, name: str, fields: Mapping[str, Steps]) -> Steps:
    """Return how many outputs let a channel through; `fields` are the mixer's."""
    parts = []
    for output in chip.unit.outputs:
        route, trim = fields[f"mixer.{output}.{name}"], fields.get(f"mixer.{output}.trim")
        gains = [int(r * chip.mixer.gains[name] > 0) for r in chip.mixer.routes]
        let = gated(steps_from_rising(route.cycle, np.ones_like(route.level), route.end), route, gains)
        trims = [int(t > 0) for t in chip.mixer.trims]
        whole = constant_steps(0, let.start, let.end)
        parts.append(gated(let, trim if trim is not None else whole, trims))
    return sum_steps(parts)
