"""Sound: what was rendered or played, in words and as plain values.

Stage: report. In: the chip, the log, and records of what was written. Out: text, and dictionaries for JSON.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from psgmodel.audio.files import WrittenAudio
from psgmodel.chip.records import Chip
from psgmodel.reglog.log import RegisterLog
from psgmodel.report.layout import counted, seconds_text, table
from psgmodel.units import cycles_to_seconds, show_hertz

WrittenSignals = tuple[WrittenAudio, Sequence[str]]
"""A written file and the names of the signals in it, channel by channel."""

_BITS = {"pcm16": "16 bit", "pcm24": "24 bit", "float32": "float"}


def stretch_text(chip: Chip, log: RegisterLog, start: int, end: int) -> str:
    """Return one line that says what was run."""
    length = seconds_text(float(cycles_to_seconds(end - start, chip.clock_hz)))
    return (
        f"{chip.unit.name} at {show_hertz(chip.clock_hz)}, {log.source}: {counted(len(log), 'write')}, "
        f"cycles {start} to {end}, {length}\n"
    )


def rendered_text(chip: Chip, log: RegisterLog, start: int, end: int, written: Sequence[WrittenSignals]) -> str:
    """Return what `render` says."""
    rows = []
    for file, names in written:
        at = "" if file.peak.value == 0 else f"{names[file.peak.channel]}, {file.peak.sample / file.rate:.3f} s"
        rows.append(
            [
                file.path,
                ", ".join(names),
                f"{file.samples / file.rate:.3f} s",
                show_hertz(file.rate),
                _BITS[file.depth],
                _dbfs_text(file.peak.dbfs),
                at,
            ]
        )
    text = stretch_text(chip, log, start, end)
    text += "\n" + table(("wrote", "signals", "length", "rate", "sample", "peak dBFS", "peak at"), rows, right=(2, 5))
    for file, _ in written:
        if file.gain != 1.0:
            text += f"{file.path}: lowered by {-20 * math.log10(file.gain):.2f} dB to fit full scale\n"
        if file.clipped:
            text += f"{file.path}: {counted(file.clipped, 'sample')} above full scale flattened\n"
    return text


def rendered_json(
    chip: Chip, log: RegisterLog, start: int, end: int, written: Sequence[WrittenSignals]
) -> dict[str, Any]:
    """Return what `render` did as plain values."""
    return {
        **stretch_json(chip, log, start, end),
        "files": [
            {
                "path": file.path,
                "signals": list(names),
                "rate_hz": file.rate,
                "samples": file.samples,
                "depth": file.depth,
                "peak_dbfs": _finite(file.peak.dbfs),
                "peak_signal": names[file.peak.channel],
                "peak_sample": file.peak.sample,
                "gain": file.gain,
                "clipped": file.clipped,
            }
            for file, names in written
        ],
    }


def stretch_json(chip: Chip, log: RegisterLog, start: int, end: int) -> dict[str, Any]:
    """Return what was run as plain values; the clock rate is exact, in text."""
    return {
        "chip": chip.source,
        "unit": chip.unit.name,
        "clock_hz": str(chip.clock_hz),
        "log": log.source,
        "writes": len(log),
        "start_cycle": start,
        "end_cycle": end,
        "seconds": float(cycles_to_seconds(end - start, chip.clock_hz)),
    }


def _dbfs_text(value: float) -> str:
    return "silence" if value == -math.inf else f"{value:.2f}"


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
