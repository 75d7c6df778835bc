"""Columns: a spectrogram of a signal of any length, in bounded memory.

Stage: audio. In: blocks of float64 samples, 1.0 at full scale, as a renderer yields them. Out: one `Spectrogram` for
each channel with at most a given number of columns; where the signal has more frames, a column is the mean power of
several, so that nothing is left out.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from psgmodel.audio.spectra import Samples, Spectrogram, Window, spectrogram
from psgmodel.errors import AudioError

_FLOOR_DB = -120.0
_WINDOW: Window = "hann"
_FRAMES_AT_ONCE = 64
_LONGEST, _SHORTEST = 4096, 64


class ColumnsState:
    """Spectrograms that grow block by block.

    Parameters
    ----------
    rate : int, hertz
    samples : int
        How many samples will come, per channel; decides how many frames make a column.
    columns : int
        Most columns of the result.
    length : int, samples, optional
        Of a frame; frames are a quarter of it apart. None: 4096, or less for a signal of less than four of them.
    """

    def __init__(self, rate: int, samples: int, *, columns: int = 1200, length: int | None = None) -> None:
        if length is None:
            length = min(_LONGEST, max(_SHORTEST, 1 << max(0, samples // 4).bit_length() >> 1))
        hop = length // 4
        frames = max(1, 1 + (samples - length) // hop)
        self._rate, self._length, self._hop = rate, length, hop
        self._per_column = -(-frames // columns)
        self._held: Samples | None = None
        self._done = 0
        self._power: list[list[NDArray[np.float64]]] = []
        self._count: list[int] = []
        self._hertz: NDArray[np.float64] = np.zeros(0)

    def add(self, block: Samples) -> None:
        """Take the next block. Shape (n, channels)."""
        self._held = block if self._held is None else np.concatenate([self._held, block])
        enough = self._length + (_FRAMES_AT_ONCE - 1) * self._hop
        while self._held.shape[0] >= enough:
            self._take(self._held[:enough], _FRAMES_AT_ONCE)
            self._held = self._held[_FRAMES_AT_ONCE * self._hop :]

    def finish(self) -> list[Spectrogram]:
        """Return the spectrogram of each channel; what follows the last whole frame is left out.

        Raises
        ------
        AudioError
            Fewer samples than one frame.
        """
        if self._held is not None and self._held.shape[0] >= self._length:
            frames = 1 + (self._held.shape[0] - self._length) // self._hop
            self._take(self._held, frames)
        if not self._count:
            found = 0 if self._held is None else self._held.shape[0]
            raise AudioError(f"{found} samples are fewer than one frame of {self._length}")
        starts = np.cumsum([0, *self._count[:-1]]) + (np.array(self._count) - 1) / 2
        seconds = (starts * self._hop + self._length / 2) / self._rate
        return [
            Spectrogram(
                seconds,
                self._hertz,
                10 * np.log10(np.array(rows) / np.array(self._count)[:, None]),
                _WINDOW,
                _FLOOR_DB,
            )
            for rows in self._power
        ]

    def _take(self, samples: Samples, frames: int) -> None:
        """Add frames to the columns they belong to; powers relative to a full-scale sine."""
        column = np.arange(self._done, self._done + frames) // self._per_column
        for channel in range(samples.shape[1]):
            part = spectrogram(
                samples[:, channel],
                self._rate,
                length=self._length,
                hop=self._hop,
                window=_WINDOW,
                floor_db=_FLOOR_DB,
            )
            self._hertz = part.hertz
            if channel == len(self._power):
                self._power.append([])
            rows = self._power[channel]
            for index, power in zip(column.tolist(), 10 ** (part.dbfs / 10), strict=True):
                if index == len(rows):
                    rows.append(power)
                else:
                    rows[index] = rows[index] + power
        for index in column.tolist():
            if index == len(self._count):
                self._count.append(1)
            else:
                self._count[index] += 1
        self._done += frames
