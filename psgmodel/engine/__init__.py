"""engine: what the unit does. Chip and register log in; one `Steps` for each channel and output out.

The order of action within clock edge c, which both engines follow. "Old" is what stood just before the
edge; every register takes its next value from old values unless a line below says otherwise.

 1. A divider (a tick's own, or a sequencer) makes a step at the edges ``first``, ``first + every``, ``first + 2 every``
    and so on, counted from cycle 0, whatever else happens but a restart. A restart strobe acts at the edge at which its
    write changes registers, whatever `start_delay` is: that edge is no step, or is step 0, as `at_restart` says, and
    takes the place of a step that was due; the next one follows ``after_restart`` cycles later, then every ``every``.
 2. A write sampled at edge ``c - write_latency`` takes place now: a mirror is undone first, then an index port
    followed; an index, a register or a sample changes. Several writes of one cycle are made in their order. The result
    is called "new". A strobe bit written as 1, and each name of `on_write`, enters the delay line of its channel; so do
    the strobes of a `gate` that is another one after the edge than before it. A write to a register with `held_until`
    waits, and is made just before the next write to that one.
 3. While the power bit is 0, every write to a register that does not hold it, or to a memory, is lost; a write to the
    one that does stores its bits and strobes (a gate's too) only where it sets the bit to 1. Dividers, index port and
    output registers go on. A write that changes the bit from 1 to 0 clears at this edge: registers take their reset
    values (its own what is written), channels and delay lines their reset state; writes that wait are lost. At this
    edge no strobe acts, written before or after it, and no channel does anything; writes that follow, should they set
    the bit to 1 again, change registers and memories.
 4. A start or stop strobe acts ``start_delay`` edges later (delay 0: at this edge). A start sees new fields where
    the delay is 0, old fields otherwise. Where start and stop meet, the stop is ignored.
 5. The note timer, the envelope and the sweep load at a start and count at their tick. A tick counts in a
    channel whose old `active` is 1. What happens where a start and a tick meet is the block's `start_and_tick`;
    with "tick", the load is lost only where the tick counts. Fields at a tick are old, or new where `write_and_tick`
    says so. A tick moves the timer down by one. The counter of envelope or sweep, where it is 0 or 1, becomes the
    period and a step is made; else it goes down by one. So a written period counts from the next load.
 6. A sweep step works on the old period, or on the copy, which a start at this edge has loaded before it. Where the
    period is written at the same edge, `write_and_step` decides.
 7. The step counter runs where the old `active` is 1. At a start it reloads, or goes on where `on_start` says so;
    a position that the start resets does not also advance. Samples are fetched from the old memory.
 8. `active` becomes 1 at a start, unless the note timer runs out at this edge and `expiry_and_start` says so, or the
    sweep runs over at this edge and its `check` is not "at-step";
    without a start it becomes 0 by a stop, the timer, the envelope, the sweep or the last sample. A channel that is not
    active stands still but for its delay lines.
 9. The level of a channel is a function of everything as it stands after the edge: registers, counters,
    memory. An output code is the mix of the levels and mixer fields after the edge; it goes through `latency`
    registers, which are 0 in reset: at edge 0 the first one takes in the mix of the reset state.

`reference` is the definition: cycle by cycle, one small class a block. `fast` gives the same answer event by event,
compiled where it can be (`kernel`), else by its twin in Python.
"""

from psgmodel.engine.run import run, run_pieces
from psgmodel.engine.state import ChannelState, UnitState, state_from_json, state_to_json
from psgmodel.engine.trace import Trace

__all__ = ["ChannelState", "Trace", "UnitState", "run", "run_pieces", "state_from_json", "state_to_json"]
