"""Audio files: samples to WAV or FLAC, and back.

Stage: audio. In: float64 samples, 1.0 at full scale, whole or as blocks. Out: a file of 16- or 24-bit integers (WAV,
FLAC) or 32-bit floats (WAV), written whole or not at all, the same bytes for the same samples. Reading gives float64
samples, integers divided by their full scale.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Literal

import numpy as np

from psgmodel.audio.quantise import NO_PEAK, Peak, Samples, TpdfDither, overload_error, peak_of, to_codes
from psgmodel.audio.sinks import Depth, FileSink, container_of, open_sink
from psgmodel.errors import AudioError, Place
from psgmodel.output import whole_file

Overload = Literal["error", "scale", "clip", "keep"]
"""What happens above full scale: refuse; lower the whole file; store the outermost code; keep it (float only)."""

BlockSource = Callable[[], Iterable[Samples]]
"""Makes the blocks of a signal anew at each call: scaling needs them twice."""

_BLOCK = 65_536


@dataclass(frozen=True, slots=True)
class WrittenAudio:
    """What was written.

    Attributes
    ----------
    path : str
    rate : int, hertz
    channels, samples : int
        Samples are counted per channel.
    depth : "pcm16", "pcm24" or "float32"
    peak : Peak
        Before scaling, 1.0 at full scale.
    gain : float
        Factor that the samples were multiplied by; 1.0 unless overload="scale" had to act.
    clipped : int
        Samples beyond full scale that were stored as the outermost code.
    at_top : int
        Samples of +1.0 (or carried past the codes by dither) stored as the outermost code; no overload.
    """

    path: str
    rate: int
    channels: int
    samples: int
    depth: Depth
    peak: Peak
    gain: float
    clipped: int
    at_top: int


@dataclass(frozen=True, slots=True, eq=False)
class ReadAudio:
    """What was read.

    Attributes
    ----------
    samples : ndarray of float64, shape (n, channels), 1.0 at full scale
    rate : int, hertz
    subtype : str
        How the file held its samples, in libsndfile's words.
    path : str
    """

    samples: Samples
    rate: int
    subtype: str
    path: str


def write_audio(
    path: str | os.PathLike[str],
    samples: Samples | BlockSource,
    rate: int,
    *,
    depth: Depth = "pcm16",
    overload: Overload = "error",
    dither_seed: int | None = None,
    clock_hz: int | Fraction | None = None,
    origin: int = 0,
) -> WrittenAudio:
    """Write samples to a WAV or FLAC file, whole or not at all.

    Parameters
    ----------
    path : str or path-like
        Ends in ``.wav`` or ``.flac``.
    samples : ndarray of float64, shape (n,) or (n, channels), or callable
        1.0 at full scale. A callable returns an iterable of such blocks, anew at each call, for signals that do not
        fit memory.
    rate : int, hertz
    depth : "pcm16", "pcm24" or "float32"
        ``float32`` for WAV only.
    overload : "error", "scale", "clip" or "keep"
        What happens above full scale. ``keep`` is for ``float32`` only.
    dither_seed : int, optional
        Adds triangular dither of two codes peak to peak, for ``pcm16`` only. None: no dither.
    clock_hz : int or Fraction, hertz, optional
        With `origin`, lets an error name the clock cycle of the peak.
    origin : int, clock cycles
        Cycle of sample 0.

    Returns
    -------
    WrittenAudio

    Raises
    ------
    AudioError
        Samples above full scale (unless `overload` says otherwise), infinite or not numbers; no samples; a
        combination that no file can hold.
    OutputError
        The file cannot be written.
    """
    _check_choices(depth, overload, dither_seed)
    if not 1 <= rate <= 0xFFFFFFFF:
        raise AudioError(f"sample rate {rate} Hz does not fit a file header", hint="usual rates: 44100, 48000, 96000")
    container_of(os.fspath(path), depth)
    source = _blocks_of(samples)
    gain = 1.0
    if overload == "scale":
        peak = NO_PEAK
        at = 0
        for block in source():
            peak = peak_of(block, peak, at)
            at += block.shape[0]
        gain = 1.0 / peak.value if peak.value > 1.0 else 1.0
    blocks = iter(source())
    first = next(blocks, None)
    if first is None:
        raise AudioError("there are no samples to write")
    dither = None if dither_seed is None else TpdfDither(dither_seed)
    with whole_file(path) as temporary, open_sink(os.fspath(path), temporary, rate, first.shape[1], depth) as sink:
        tally = _write_all(_with_first(first, blocks), sink, gain, overload, dither)
        if overload == "error" and tally.peak.value > 1.0:
            raise overload_error(tally.peak, rate, clock_hz, origin)
    return WrittenAudio(
        os.fspath(path), rate, first.shape[1], tally.samples, depth, tally.peak, gain, tally.clipped, tally.at_top
    )


def read_audio(path: str | os.PathLike[str]) -> ReadAudio:
    """Read a WAV or FLAC file (or another that libsndfile knows) as float64.

    Raises
    ------
    AudioError
        The file is missing, no audio, cut short, empty, or holds numbers that are not finite.
    """
    import soundfile

    shown = os.fspath(path)
    place = Place(shown)
    try:
        size = Path(shown).stat().st_size
        with open(shown, "rb"):
            pass
    except OSError as error:
        raise AudioError(f"cannot read: {error.strerror}", place=place) from error
    try:
        with soundfile.SoundFile(shown) as file:
            frames, rate, subtype = file.frames, file.samplerate, str(file.subtype)
            samples = np.asarray(file.read(dtype="float64", always_2d=True), dtype=np.float64)
    except soundfile.LibsndfileError as error:
        raise AudioError(
            f"not a readable audio file: {error.error_string}", place=place, hint="WAV or FLAC is expected"
        ) from error
    if samples.shape[0] != frames:
        raise AudioError(f"holds {samples.shape[0]} samples where its header says {frames}", place=place)
    _refuse_cut_short(Path(shown), size, place)
    if samples.shape[0] == 0:
        raise AudioError("holds no samples", place=place)
    try:
        peak_of(samples)
    except AudioError as error:
        raise AudioError(str(error), place=place) from error
    return ReadAudio(samples, int(rate), subtype, shown)


def as_channels(samples: Samples) -> Samples:
    """Return samples as a float64 array of shape (n, channels).

    Raises
    ------
    AudioError
        Not one or two dimensions, or no channels.
    """
    array = np.asarray(samples, dtype=np.float64)
    if array.ndim == 1:
        array = array[:, None]
    if array.ndim != 2 or array.shape[1] == 0:
        raise AudioError(f"samples of shape {np.shape(samples)} are neither (n,) nor (n, channels)")
    return array


@dataclass(slots=True)
class _TallyState:
    samples: int = 0
    peak: Peak = NO_PEAK
    clipped: int = 0
    at_top: int = 0


def _write_all(
    blocks: Iterable[Samples], sink: FileSink, gain: float, overload: Overload, dither: TpdfDither | None
) -> _TallyState:
    """Write every block; past an overload that is an error only look for the peak."""
    tally = _TallyState()
    for block in blocks:
        tally.peak = peak_of(block, tally.peak, tally.samples)
        tally.samples += block.shape[0]
        if overload == "error" and tally.peak.value > 1.0:
            continue
        scaled = block * gain if gain != 1.0 else block
        if gain != 1.0:
            scaled = np.clip(scaled, -1.0, 1.0)  # the peak times its reciprocal may round to just above 1
        if sink.bits is None:
            over = np.abs(scaled) > 1.0
            if overload == "clip":
                tally.clipped += int(over.sum())
                scaled = np.clip(scaled, -1.0, 1.0)
            sink.write(scaled)
        else:
            codes = to_codes(scaled, sink.bits, dither)
            tally.clipped += codes.clipped
            tally.at_top += codes.at_top
            sink.write(codes.code)
    return tally


def _check_choices(depth: Depth, overload: Overload, dither_seed: int | None) -> None:
    if depth not in ("pcm16", "pcm24", "float32"):
        raise AudioError(f'depth "{depth}" is not known', hint="pcm16, pcm24 or float32")
    if overload not in ("error", "scale", "clip", "keep"):
        raise AudioError(f'overload="{overload}" is not known', hint="error, scale, clip or keep")
    if overload == "keep" and depth != "float32":
        raise AudioError(f'overload="keep" needs depth float32: {depth} has no codes above full scale')
    if dither_seed is not None and depth != "pcm16":
        raise AudioError(f"dither is for pcm16, not for {depth}")


def _blocks_of(samples: Samples | BlockSource) -> Callable[[], Iterator[Samples]]:
    if callable(samples):
        make = samples
        return lambda: (as_channels(block) for block in make())
    whole = as_channels(samples)
    return lambda: (whole[at : at + _BLOCK] for at in range(0, whole.shape[0], _BLOCK))


def _with_first(first: Samples, rest: Iterator[Samples]) -> Iterator[Samples]:
    yield first
    for block in rest:
        if block.shape[1] != first.shape[1]:
            raise AudioError(f"a block of {block.shape[1]} channels follows one of {first.shape[1]}")
        yield block


def _refuse_cut_short(path: Path, size: int, place: Place) -> None:
    """Raise where a WAV file ends before the size in its own header: libsndfile only shortens it in silence."""
    with path.open("rb") as file:
        head = file.read(12)
    if head[:4] != b"RIFF" or head[8:12] != b"WAVE":
        return
    told = int.from_bytes(head[4:8], "little") + 8
    if told in (8, 0xFFFFFFFF + 8):
        return  # written to a pipe: the size was never filled in
    if told - size > 1:
        raise AudioError(f"is cut short: {size} bytes where its header says {told}", place=place)
