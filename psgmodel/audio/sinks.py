"""Sinks: where quantised samples go while a file is being written.

Stage: audio. In: a path that ends in .wav or .flac, and blocks of integer codes or floats. Out: the bytes of the
file. Integer formats go through libsndfile; the float WAV header is written here, because libsndfile puts a time
stamp into its own (the PEAK chunk).

Layout of the float file (Microsoft, "Multimedia Data Standards Update", 1994: formats other than PCM carry an
extension size in `fmt ` and a `fact` chunk): RIFF, `fmt ` of 18 bytes with tag 3, `fact` of 4 bytes, `data`;
58 bytes before the first sample, little endian.
"""

from __future__ import annotations

import os
import struct
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, BinaryIO, Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from psgmodel.errors import AudioError, OutputError
from psgmodel.output import output_error

Depth = Literal["pcm16", "pcm24", "float32"]

BITS: dict[Depth, int | None] = {"pcm16": 16, "pcm24": 24, "float32": None}
_BYTES: dict[Depth, int] = {"pcm16": 2, "pcm24": 3, "float32": 4}
_MAX_RIFF = 0xFFFFFFFF
_HEADER_ROOM = 128
_FLOAT_HEADER = 58


class FileSink(Protocol):
    """Takes blocks of shape (n, channels): int32 codes where `bits` is a number, else floats."""

    bits: int | None

    def write(self, block: NDArray[np.int32] | NDArray[np.float64]) -> None:
        """Append a block."""


@contextmanager
def open_sink(shown: str, temporary: Path, rate: int, channels: int, depth: Depth) -> Iterator[FileSink]:
    """Open the sink that the path's suffix and the depth ask for; close it when the block ends.

    Parameters
    ----------
    shown : str
        The path as the user gave it.
    temporary : Path
        Where the bytes go.

    Raises
    ------
    AudioError
        A suffix other than .wav and .flac, or a combination that the format does not hold.
    OutputError
        The disk is full, or another write error.
    """
    container = container_of(shown, depth)
    if container == "WAV" and depth == "float32":
        with temporary.open("wb") as file:
            sink = _FloatWavSink(file, rate, channels)
            yield sink
            sink.close()
        return
    with _libsndfile_sink(shown, temporary, rate, channels, depth, container) as coded:
        yield coded


def container_of(path: str, depth: Depth) -> Literal["WAV", "FLAC"]:
    """Return the container that a path's suffix names.

    Raises
    ------
    AudioError
        See `open_sink`.
    """
    suffix = os.path.splitext(path)[1].lower()
    if suffix == ".wav":
        return "WAV"
    if suffix != ".flac":
        raise AudioError(f'"{path}" does not say which kind of audio file it is', hint="end it in .wav or .flac")
    if depth == "float32":
        raise AudioError("FLAC holds no float32 samples", hint="depth pcm24, or a .wav file")
    return "FLAC"


class _CodedSink:
    """Integer codes through libsndfile, which takes them left-aligned in 32 bits, or as int16."""

    def __init__(self, file: Any, depth: Depth, limit: int | None) -> None:
        self.bits = BITS[depth]
        self.frames = 0
        self._file = file
        self._limit = limit

    def write(self, block: NDArray[np.int32] | NDArray[np.float64]) -> None:
        self.frames += block.shape[0]
        if self._limit is not None and self.frames > self._limit:
            raise _too_long(self._limit)
        codes = block.astype(np.int32)
        self._file.write(codes.astype(np.int16) if self.bits == 16 else codes << 8)


@contextmanager
def _libsndfile_sink(
    shown: str, temporary: Path, rate: int, channels: int, depth: Depth, container: Literal["WAV", "FLAC"]
) -> Iterator[FileSink]:
    import soundfile

    limit = (_MAX_RIFF - _HEADER_ROOM) // (channels * _BYTES[depth]) if container == "WAV" else None
    subtype = {"pcm16": "PCM_16", "pcm24": "PCM_24"}[depth]
    try:
        file = soundfile.SoundFile(temporary, "w", rate, channels, subtype, format=container)
    except soundfile.LibsndfileError as error:
        raise AudioError(f"{container} does not hold {channels} channels at {rate} Hz: {error.error_string}") from error
    try:
        with file:
            sink = _CodedSink(file, depth, limit)
            yield sink
        with soundfile.SoundFile(temporary) as written:
            whole = written.frames == sink.frames
            if whole and sink.frames:
                written.seek(sink.frames - 1)
                whole = len(written.read(1, dtype="int32")) == 1
    except soundfile.LibsndfileError as error:
        raise _write_error(shown, temporary, error.error_string) from error
    if not whole:
        raise _write_error(shown, temporary, "the file came out shorter than what was written to it")


def _write_error(shown: str, temporary: Path, reason: str) -> OutputError:
    """Return the error of a failed write; libsndfile hides the system's reason, so ask the system once more."""
    try:
        with temporary.open("ab") as file:
            file.write(bytes(1 << 20))
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        return output_error(shown, error)
    return OutputError(f"cannot write {shown}: {reason}")


class _FloatWavSink:
    """A WAV file of 32-bit floats without a time stamp."""

    def __init__(self, file: BinaryIO, rate: int, channels: int) -> None:
        self.bits: int | None = None
        self._file = file
        self._rate = rate
        self._channels = channels
        self._frames = 0
        self._limit = (_MAX_RIFF - _HEADER_ROOM) // (4 * channels)
        file.write(bytes(_FLOAT_HEADER))

    def write(self, block: NDArray[np.int32] | NDArray[np.float64]) -> None:
        self._frames += block.shape[0]
        if self._frames > self._limit:
            raise _too_long(self._limit)
        self._file.write(np.ascontiguousarray(block, dtype="<f4").tobytes())

    def close(self) -> None:
        """Write the header, now that the length is known."""
        align = 4 * self._channels
        size = self._frames * align
        head = struct.pack("<4sI4s", b"RIFF", _FLOAT_HEADER - 8 + size, b"WAVE")
        head += struct.pack("<4sIHHIIHHH", b"fmt ", 18, 3, self._channels, self._rate, self._rate * align, align, 32, 0)
        head += struct.pack("<4sII", b"fact", 4, self._frames)
        head += struct.pack("<4sI", b"data", size)
        self._file.seek(0)
        self._file.write(head)


def _too_long(limit: int) -> AudioError:
    return AudioError(
        f"a WAV file holds at most {limit} samples of this kind (4 GiB)",
        hint="write FLAC, fewer channels, or a lower rate",
    )
