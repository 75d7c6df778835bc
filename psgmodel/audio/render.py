"""Rendering: `Steps` to band-limited samples in one call, whole or as a stream of blocks.

Stage: audio. In: `Steps` of one or more channels, the clock rate in hertz, the sample rate in hertz. Out: float64
samples, 1.0 at the level that the caller names as full scale. What happens at the start and the end of a signal,
and why the samples are the same however it is cut, is told in `renderer`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction

import numpy as np

from psgmodel.audio.renderer import Samples, StepsRenderer, Unknown, joined
from psgmodel.errors import AudioError
from psgmodel.steps import Steps


def render_steps(
    steps: Steps,
    clock_hz: int | Fraction,
    rate: int,
    *,
    full_scale: float,
    start_level: int | None = None,
    unknown: Unknown = "refuse",
) -> Samples:
    """Render one signal.

    Parameters
    ----------
    steps : Steps
        Levels at clock cycles; sample 0 stands at its first cycle.
    clock_hz : int or fractions.Fraction, hertz
    rate : int, hertz
        8000 to 768000. From 48 kHz on the pass band reaches to 5/12 of it, below to 200/441.
    full_scale : float
        The level that becomes 1.0, for example the largest output code. 1.0 gives samples in level units.
    start_level : int, optional
        Level before the start. None: the first level, so that nothing clicks.
    unknown : "refuse", "last" or int
        What stands where a level is not known.

    Returns
    -------
    ndarray of float64, shape (n,), 1.0 at full scale
        n is the number of samples that stand before the end of the signal.

    Raises
    ------
    AudioError
        A rate or full scale that cannot be used, or an unknown level that the caller named nothing for.
    """
    renderer = StepsRenderer(clock_hz, rate, full_scale=full_scale, start_level=start_level, unknown=unknown)
    return joined([renderer.push(steps), renderer.finish()])


def render_channels(
    channels: Sequence[Steps],
    clock_hz: int | Fraction,
    rate: int,
    *,
    full_scale: float,
    start_level: int | None = None,
    unknown: Unknown = "refuse",
) -> Samples:
    """Render several signals that cover the same cycles; parameters as for `render_steps`.

    Returns
    -------
    ndarray of float64, shape (n, channels), 1.0 at full scale

    Raises
    ------
    AudioError
        No signals, signals that cover different cycles, or see `render_steps`.
    """
    _same_cover(channels)
    return np.stack(
        [
            render_steps(c, clock_hz, rate, full_scale=full_scale, start_level=start_level, unknown=unknown)
            for c in channels
        ],
        axis=1,
    )


def render_blocks(
    pieces: Iterable[Sequence[Steps]],
    clock_hz: int | Fraction,
    rate: int,
    *,
    full_scale: float,
    block: int = 65_536,
    start_level: int | None = None,
    unknown: Unknown = "refuse",
) -> Iterator[Samples]:
    """Render a stream of pieces in bounded memory; parameters as for `render_steps`.

    Parameters
    ----------
    pieces : iterable of sequence of Steps
        Each item holds one piece of every channel; the pieces of a channel follow one another.
    block : int
        Samples per block, at least 1; the last block may be shorter.

    Yields
    ------
    ndarray of float64, shape (block, channels), 1.0 at full scale

    Raises
    ------
    AudioError
        Pieces that do not follow one another or differ in cover, or see `render_steps`.
    """
    if block < 1:
        raise AudioError(f"a block of {block} samples holds nothing", hint="1 or more")
    renderers: list[StepsRenderer] = []
    held: list[Samples] = []
    size = 0
    for piece in _and_an_end(pieces):
        if piece is not None:
            _same_cover(piece)
            if not renderers:
                renderers = [
                    StepsRenderer(clock_hz, rate, full_scale=full_scale, start_level=start_level, unknown=unknown)
                    for _ in piece
                ]
            if len(piece) != len(renderers):
                raise AudioError(f"a piece of {len(piece)} channels follows one of {len(renderers)}")
            streams = [r.push_blocks(p) for r, p in zip(renderers, piece, strict=True)]
        elif renderers:
            streams = [iter([r.finish()]) for r in renderers]
        else:
            return
        for parts in zip(*streams, strict=True):
            held.append(np.stack(parts, axis=1))
            size += held[-1].shape[0]
            while size >= block:
                joined = np.concatenate(held)
                yield joined[:block]
                held = [joined[block:]]
                size -= block
    if size:
        yield np.concatenate(held)


def _and_an_end(pieces: Iterable[Sequence[Steps]]) -> Iterator[Sequence[Steps] | None]:
    yield from pieces
    yield None


def _same_cover(channels: Sequence[Steps]) -> None:
    if not channels:
        raise AudioError("no channels to render")
    first = channels[0]
    for number, other in enumerate(channels[1:], start=2):
        if (other.start, other.end) != (first.start, first.end):
            raise AudioError(
                f"channel {number} covers cycles {other.start} to {other.end}, "
                f"channel 1 covers {first.start} to {first.end}",
                hint="cut all channels to the same cycles",
            )
