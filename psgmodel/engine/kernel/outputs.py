"""Outputs: channels mixed by the compiled kernel.

Stage: engine, the compiled kernel. In: the channels' `Steps`, the mixer fields over time, the output registers.
Out: one `Steps` for each output, and the output registers at the end.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from psgmodel.chip.records import Chip
from psgmodel.engine.kernel.encode import numbers, option_value
from psgmodel.engine.kernel.layout import MIXER, SEEN, SIGNAL
from psgmodel.engine.kernel.library import IntArray, Library
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
    signals = _signals(chip, outputs, channels, fields)
    start, end = signals[0].start, signals[0].end
    if start >= end:
        return {output: (empty_steps(end), list(pipelines[output])) for output in outputs}
    inputs = _inputs(chip, outputs, signals, seen=False)
    inputs["pipelines"] = numbers(code for output in outputs for code in pipelines[output])
    made = library.mix(inputs, sum(len(signal) for signal in signals) + chip.mixer.latency + 1)
    ends = inputs["pipelines"].reshape(len(outputs), chip.mixer.latency).tolist()
    return {
        output: (Steps(cycle, level, end), codes)
        for output, (cycle, level), codes in zip(outputs, made, ends, strict=True)
    }


def see_compiled(
    library: Library,
    chip: Chip,
    outputs: Sequence[str],
    channels: Mapping[str, Steps],
    fields: Mapping[str, Steps],
) -> dict[str, dict[str, int]]:
    """Return for some outputs the `SEEN` of all their sums over at least one cycle."""
    inputs = _inputs(chip, outputs, _signals(chip, outputs, channels, fields), seen=True)
    library.see(inputs)
    seen = inputs["seen"].reshape(len(outputs), len(SEEN)).tolist()
    return {output: dict(zip(SEEN, found, strict=True)) for output, found in zip(outputs, seen, strict=True)}


def _signals(
    chip: Chip, outputs: Sequence[str], channels: Mapping[str, Steps], fields: Mapping[str, Steps]
) -> list[Steps]:
    """Return the signals that are mixed: channels, and for each output its routes and its trim."""
    signals = [channels[name] for name in chip.channels]
    start, end = signals[0].start, signals[0].end
    no_trim = constant_steps(0, start, end)
    for output in outputs:
        signals += [fields[f"mixer.{output}.{name}"] for name in chip.channels]
        signals.append(fields.get(f"mixer.{output}.trim", no_trim))
    assert all(s.start == start and s.end == end for s in signals)
    return [Steps(np.ascontiguousarray(s.cycle), np.ascontiguousarray(s.level), end) for s in signals]


def _inputs(chip: Chip, outputs: Sequence[str], signals: Sequence[Steps], *, seen: bool) -> dict[str, IntArray]:
    """Return `MIXER_INPUTS`; they refer to the signals."""
    mixer, first = chip.mixer, signals[0]
    facts = {"channels": len(chip.channels), "outputs": len(outputs), "start": first.start, "end": first.end}
    facts |= {"table": int(bool(mixer.table)), "seen": int(seen)}
    return {
        "options": numbers(
            facts[path] if path in facts else option_value(mixer, path, words) for path, words in MIXER.items()
        ),
        "signals": numbers(n for s in signals for n in (s.cycle.ctypes.data, s.level.ctypes.data, s.cycle.size)),
        "gains": numbers(mixer.gains[name] for name in chip.channels),
        "routes": numbers(mixer.routes),
        "trims": numbers(mixer.trims),
        "codes": numbers(mixer.table),
        "pipelines": numbers(()),
        "outputs": np.zeros(len(outputs) * len(SIGNAL), dtype=np.int64),
        "seen": np.zeros(len(outputs) * len(SEEN), dtype=np.int64),
    }
