"""Outputs: channels mixed by the compiled kernel.

Stage: engine, the compiled kernel. In: the channels' `Steps`, the mixer fields over time, the output registers.
Out: one `Steps` for each output, and the output registers at the end.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from psgmodel.chip.records import Chip
from psgmodel.engine.kernel.encode import numbers, option_value
from psgmodel.engine.kernel.layout import MIXER, SIGNAL
from psgmodel.engine.kernel.library import Library
from psgmodel.steps import Steps, constant_steps, empty_steps


def mix_compiled(
    library: Library,
    chip: Chip,
    outputs: Sequence[str],
    channels: Mapping[str, Steps],
    fields: Mapping[str, Steps],
    pipelines: Mapping[str, list[int]],
) -> dict[str, tuple[Steps, list[int]]]:
    """Mix some outputs; for each, equals `psgmodel.engine.mixing.mix`."""
    mixer = chip.mixer
    first = next(iter(channels.values()))
    start, end = first.start, first.end
    if start >= end:
        return {output: (empty_steps(end), list(pipelines[output])) for output in outputs}
    no_trim = constant_steps(0, start, end)
    signals = [channels[name] for name in chip.channels]
    for output in outputs:
        signals += [fields[f"mixer.{output}.{name}"] for name in chip.channels]
        signals.append(fields.get(f"mixer.{output}.trim", no_trim))
    assert all(s.start == start and s.end == end for s in signals)
    arrays = [(np.ascontiguousarray(s.cycle), np.ascontiguousarray(s.level)) for s in signals]
    facts = {"channels": len(channels), "outputs": len(outputs), "start": start, "end": end}
    inputs = {
        "options": numbers(
            facts[path] if path in facts else bool(mixer.table) if path == "table" else option_value(mixer, path, words)
            for path, words in MIXER.items()
        ),
        "signals": numbers(n for c, level in arrays for n in (c.ctypes.data, level.ctypes.data, c.size)),
        "gains": numbers(mixer.gains[name] for name in chip.channels),
        "routes": numbers(mixer.routes),
        "trims": numbers(mixer.trims),
        "codes": numbers(mixer.table),
        "pipelines": numbers(code for output in outputs for code in pipelines[output]),
        "outputs": np.zeros(len(outputs) * len(SIGNAL), dtype=np.int64),
    }
    made = library.mix(inputs, sum(len(signal) for signal in signals) + mixer.latency + 1)
    ends = inputs["pipelines"].reshape(len(outputs), mixer.latency).tolist()
    return {
        output: (Steps(cycle, level, end), codes)
        for output, (cycle, level), codes in zip(outputs, made, ends, strict=True)
    }
