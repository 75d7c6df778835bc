"""Limits of the spectral comparison, and why they are what they are.

Stage: compare. In: nothing. Out: `SpectralOptions`, the defaults, and a sentence of reason for each.
"""

from __future__ import annotations

from dataclasses import dataclass

from psgmodel.errors import CompareError


@dataclass(frozen=True, slots=True, kw_only=True)
class SpectralOptions:
    """What is measured, and what is too much.

    Attributes
    ----------
    rate : int, hertz
        Sample rate to which both sides are rendered. A recording is compared at its own rate.
    low_hz, high_hz : float, hertz
        Lowest and highest band by its nominal centre.
    floor_db : float, dB
        What lies this far below the loudest band of the model counts as silence on both sides.
    band_limit_db : float, dB
        Largest difference of a third-octave level.
    moment_limit_db : float, dB
        Largest distance of two short-time spectra.
    note_limit_cents : float, cents
        Largest difference of the pitch of a note.
    delay_reach_seconds : float, seconds
        How far the dump's side may be moved to lie on the model's.
    """

    rate: int = 48_000
    low_hz: float = 20.0
    high_hz: float = 16_000.0
    floor_db: float = -60.0
    band_limit_db: float = 0.5
    moment_limit_db: float = 6.0
    note_limit_cents: float = 3.0
    delay_reach_seconds: float = 0.05

    def __post_init__(self) -> None:
        for name in ("band_limit_db", "moment_limit_db", "note_limit_cents", "delay_reach_seconds"):
            if not getattr(self, name) >= 0:
                raise CompareError(f"{name} {getattr(self, name)}, accepted: 0 or more")
        if not 0 < self.low_hz < self.high_hz:
            raise CompareError(f"no band lies between {self.low_hz} Hz and {self.high_hz} Hz")
        if not -120 <= self.floor_db < 0:
            raise CompareError(f"floor_db {self.floor_db}, accepted: -120 to below 0")


REASONS = {
    "band_limit_db": "half of the level difference of about 1 dB that is just heard in steady sounds "
    "(E. Zwicker, H. Fastl, Psychoacoustics, 1990; from memory)",
    "moment_limit_db": "above what two runs of the same white noise differ by (2.4 dB on average, 5.4 dB in the "
    "worst frame of half a minute, measured); below a missing note, which makes more than 10 dB",
    "note_limit_cents": "about the pitch difference that is just heard in steady tones, 0.2 % "
    "(E. Zwicker, H. Fastl, Psychoacoustics, 1990; from memory)",
    "floor_db": "a band 60 dB below the loudest is not heard beside it (common practice, no source)",
    "high_hz": "the highest third-octave band that lies whole within the pass band of the rendering at 48 kHz",
}
"""Why each default is what it is, for reports."""
