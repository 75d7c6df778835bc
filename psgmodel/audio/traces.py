"""Traces: which level of a unit is full scale, and the sound of a whole trace.

Stage: audio. In: a `Chip` and what an engine made of it. Out: full-scale levels, and samples of outputs or channels.

An output is at full scale at its largest code. A channel is at full scale at the level that would by itself, through
its gain and the largest trim, make the largest code; so the channels of a unit keep the balance they have in the mix.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from psgmodel.audio.render import render_blocks, render_steps
from psgmodel.audio.renderer import Samples
from psgmodel.chip.records import Chip
from psgmodel.engine.trace import Trace
from psgmodel.errors import AudioError, nearest
from psgmodel.steps import Steps


def full_scale_level(chip: Chip, name: str) -> float:
    """Return the level of an output or channel that becomes 1.0.

    Parameters
    ----------
    chip : Chip
    name : str
        Name of a channel or an output.

    Returns
    -------
    float, level
        For a channel that nothing lets through: the level at gain 1 and trim 1.

    Raises
    ------
    AudioError
        The chip has no such channel or output.
    """
    largest = (1 << chip.mixer.bits) - 1
    if name in chip.channels:
        factor = chip.mixer.gains[name] * max(chip.mixer.trims)
        return largest * (1 << chip.mixer.trim_shift) / factor if factor else float(largest)
    if name in chip.unit.outputs:
        return float(largest)
    known = [*chip.channels, *chip.unit.outputs]
    raise AudioError(f'no channel or output "{name}"', hint=nearest(name, known) or f"known: {', '.join(known)}")


def render_trace(trace: Trace, rate: int, names: Sequence[str] | None = None) -> Samples:
    """Render a trace; see `render_steps` for what happens at its ends.

    Parameters
    ----------
    trace : Trace
    rate : int, hertz
    names : sequence of str, optional
        Channels or outputs. None: the outputs.

    Returns
    -------
    ndarray of float64, shape (n, names), 1.0 at full scale

    Raises
    ------
    AudioError
        No such channel or output, or a rate that cannot be used.
    """
    wanted = list(trace.chip.unit.outputs if names is None else names)
    if not wanted:
        raise AudioError("no channels to render")
    scales = [full_scale_level(trace.chip, name) for name in wanted]
    clock = trace.chip.clock_hz
    return np.stack(
        [render_steps(trace[n], clock, rate, full_scale=s) for n, s in zip(wanted, scales, strict=True)], axis=1
    )


def trace_blocks(
    pieces: Iterable[Trace], chip: Chip, rate: int, names: Sequence[str], *, start: int = 0
) -> Iterator[Samples]:
    """Render the pieces of a run in bounded memory.

    Parameters
    ----------
    pieces : iterable of Trace
        What `psgmodel.engine.run_pieces` yields.
    chip : Chip
    rate : int, hertz
    names : sequence of str
        Channels or outputs that share one full scale.
    start : int, clock cycles
        Sample 0 stands here; what comes before is run but not heard.

    Yields
    ------
    ndarray of float64, shape (block, names), 1.0 at full scale

    Raises
    ------
    AudioError
        Names of different full scales, or see `render_trace`.
    """
    scales = {full_scale_level(chip, name) for name in names}
    if len(scales) != 1:
        raise AudioError(f"{len(scales)} different full scales in one stream", hint="render channels one by one")
    return render_blocks(_signals(pieces, names, start), chip.clock_hz, rate, full_scale=scales.pop())


def _signals(pieces: Iterable[Trace], names: Sequence[str], start: int) -> Iterator[list[Steps]]:
    for piece in pieces:
        if piece.end > start:
            yield [piece[name].cut(start, piece.end) for name in names]
