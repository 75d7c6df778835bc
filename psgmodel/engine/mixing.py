"""Mixing: from channel levels to output codes, change by change.

Stage: engine, the fast one. In: the channels' `Steps`, the mixer fields over time, the output registers.
Out: one `Steps` for each output, and the output registers at the end.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from psgmodel.chip.records import Chip
from psgmodel.steps import Steps, constant_steps, merged_cycles, steps_from_changes, sum_steps


def gated(signal: Steps, gate: Steps, gain: int) -> Steps:
    """Return the signal times `gain` where the gate is 1, and 0 where it is 0."""
    if len(gate) == 1:
        on = int(gate.level[0])
        return Steps(signal.cycle, signal.level * np.int32(gain), signal.end) if on and gain else _zero(signal)
    grid = merged_cycles([signal.cycle, gate.cycle])
    levels = signal.at(grid).astype(np.int64) * gate.at(grid) * gain
    return steps_from_changes(grid, levels, signal.end)


def _zero(signal: Steps) -> Steps:
    return constant_steps(0, signal.start, signal.end)


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
    parts = [gated(channels[n], fields[f"mixer.{output}.{n}"], mixer.gains[n]) for n in chip.channels]
    total = sum_steps(parts)
    if len(total) == 0:
        return total, list(pipeline)
    trim = fields.get(f"mixer.{output}.trim")
    if trim is None or len(trim) == 1:
        cycles, sums = total.cycle, total.level.astype(np.int64)
        factor = np.int64(mixer.trims[int(trim.level[0]) if trim is not None else 0])
        codes = sums * factor >> mixer.trim_shift
    else:
        cycles = merged_cycles([total.cycle, trim.cycle])
        codes = total.at(cycles) * np.array(mixer.trims, dtype=np.int64)[trim.at(cycles)] >> mixer.trim_shift
    largest = (1 << mixer.bits) - 1
    codes = codes + mixer.offset
    codes = codes & largest if mixer.overflow == "wrap" else np.clip(codes, 0, largest)
    if mixer.table:
        codes = np.array(mixer.table, dtype=np.int64)[codes]
    return _delayed(steps_from_changes(cycles, codes, total.end), mixer.latency, pipeline)


def _delayed(code: Steps, latency: int, pipeline: list[int]) -> tuple[Steps, list[int]]:
    """Send a signal through `latency` registers."""
    if latency == 0:
        return code, []
    start, end = code.start, code.end
    ahead = np.arange(start, start + latency)
    cycles = np.concatenate([ahead, code.cycle + latency])
    levels = np.concatenate([np.array(pipeline, dtype=np.int64), code.level])
    whole = steps_from_changes(cycles, levels, end + latency)
    return whole.cut(start, end), [int(v) for v in whole.at(np.arange(end, end + latency))]
