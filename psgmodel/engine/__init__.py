"""engine: what the unit does. Chip and register log in; one `Steps` for each channel and output out.

The order of action within clock edge c, which both engines follow. "Old" is what stood just before the
edge; every register takes its next value from old values unless a line below says otherwise.

 1. A tick source ticks at the edges ``first``, ``first + every``, ``first + 2 every`` and so on, counted from
    cycle 0, whatever else happens.
 2. A write sampled at edge ``c - write_latency`` changes its register now. Several writes of one cycle are made in
    their order. The result is called "new"; a strobe bit written as 1 enters the delay line of its channel.
 3. A start or stop strobe acts ``start_delay`` edges later (delay 0: at this edge). A start sees new fields where
    the delay is 0, old fields otherwise. Where start and stop meet, the stop is ignored.
 4. The note timer, the envelope and the sweep load at a start and count at their tick. A tick counts in a
    channel whose old `active` is 1. What happens where a start and a tick meet is the block's `start_and_tick`;
    with "tick", the load is lost only where the tick counts. Fields at a tick are old, or new where `write_and_tick`
    says so.
 5. A sweep step works on the old period. Where the period is written at the same edge, `write_and_step` decides.
 6. The step counter runs where the old `active` is 1. At a start it reloads, or goes on where `on_start` says so;
    a position that the start resets does not also advance. Samples are fetched from the old memory.
 7. `active` becomes 1 at a start, unless the note timer runs out at this edge and `expiry_and_start` says so;
    without a start it becomes 0 by a stop, the timer, the envelope or the sweep.
 8. The level of a channel is a function of everything as it stands after the edge: registers, counters,
    memory. An output code is the mix of the levels and mixer fields after the edge, then `latency` registers.

`reference` is the definition: cycle by cycle, one small class a block. `fast` gives the same answer event by event.
"""

from psgmodel.engine.run import run, run_pieces
from psgmodel.engine.state import ChannelState, UnitState, state_from_json, state_to_json
from psgmodel.engine.trace import Trace

__all__ = ["ChannelState", "Trace", "UnitState", "run", "run_pieces", "state_from_json", "state_to_json"]
