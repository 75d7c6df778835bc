"""Mixing: from channel levels to output codes, change by change.

Stage: engine, the twin of the compiled kernel. In: the channels' `Steps`, the mixer fields over time, the output
registers. Out: one `Steps` for each output, and the output registers at the end.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from psgmodel.chip.records import Chip
from psgmodel.steps import Steps, constant_steps, paired, steps_from_changes, steps_from_rising, sum_steps


def gated(signal: Steps, gate: Steps, gains: Sequence[int]) -> Steps:
    """Return the signal times the gain that the gate chooses."""
    if len(gate) == 1:
        gain = gains[int(gate.level[0])]
        if gain == 0:
            return constant_steps(0, signal.start, signal.end)
        return Steps(signal.cycle, signal.level * np.int64(gain), signal.end)
    cycles, levels, chosen = paired(signal.cycle, signal.level, gate.cycle, gate.level)
    return steps_from_rising(cycles, levels * np.array(gains, dtype=np.int64)[chosen], signal.end)


def mix(
    chip: Chip, output: str, channels: Mapping[str, Steps], fields: Mapping[str, Steps], pipeline: list[int]
) -> tuple[Steps, list[int]]:
    """Return one output's codes and its output registers after the last edge.

    Parameters
    ----------
    channels : dict from channel name to Steps
    fields : dict from field name to Steps
        The mixer's fields, covering the same cycles.
    pipeline : list of int
        Output registers just before the first edge, the one nearest to the pin first.
    """
    mixer = chip.mixer
    parts = [
        gated(channels[n], fields[f"mixer.{output}.{n}"], [mixer.gains[n] * route for route in mixer.routes])
        for n in chip.channels
    ]
    total = sum_steps(parts)
    if len(total) == 0:
        return total, list(pipeline)
    trim = fields.get(f"mixer.{output}.trim", constant_steps(0, total.start, total.end))
    cycles, sums, trims = total.cycle, total.level, trim.level
    if len(trim) > 1:
        cycles, sums, trims = paired(total.cycle, total.level, trim.cycle, trim.level)
    codes = sums * np.array(mixer.trims, dtype=np.int64)[trims] >> mixer.trim_shift
    codes = codes + mixer.offset
    largest = (1 << mixer.bits) - 1
    codes = codes & largest if mixer.overflow == "wrap" else np.clip(codes, 0, largest)
    if mixer.table:
        codes = np.array(mixer.table, dtype=np.int32)[codes]
    return _delayed(steps_from_rising(cycles, codes, total.end), mixer.latency, pipeline)


def _delayed(code: Steps, latency: int, pipeline: list[int]) -> tuple[Steps, list[int]]:
    """Send a signal through `latency` registers."""
    if latency == 0:
        return code, []
    start, end = code.start, code.end
    before = steps_from_changes(np.arange(start, start + latency), pipeline, start + latency)
    fresh = int(before.level[-1] == code.level[0])  # equal neighbours are one entry
    cycles = np.concatenate([before.cycle, code.cycle[fresh:] + latency])
    whole = Steps(cycles, np.concatenate([before.level, code.level[fresh:]]), end + latency)
    return whole.cut(start, end), [int(level) for level in whole.at(np.arange(end, end + latency))]
