"""Remarks: what people get wrong, said where it is seen, with numbers and a way out.

Stage: output stage, judging. In: a `StageMeasure`. Out: frozen remarks. Nothing here fails a stage: the user's own
limits do that. Remarks about the parts by themselves come from `psgmodel.output_stage.networks.network_notes`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import Enum

from psgmodel.errors import Place
from psgmodel.output_stage.networks import Element, Network, NoteKind, network_notes, transfer
from psgmodel.output_stage.parts_text import format_value
from psgmodel.output_stage.stage.measuring import StageMeasure
from psgmodel.output_stage.stage.records import Converter


class RemarkKind(Enum):
    """What a remark is about; the enum value is its word in JSON."""

    MORE_BITS_WORSE = "more-bits-worse"
    ONE_EDGE = "one-moving-edge"
    CARRIER_IN_BAND = "carrier-in-band"
    BITS_DROPPED = "bits-dropped"
    CLOCKS_DO_NOT_FIT = "clocks-do-not-fit"
    OVERLOADED = "overloaded"
    FOLDED = "folded"
    PIN_CURRENT = "pin-current"
    BARE_PIN = "bare-pin"
    DETUNED = "detuned-by-load"
    TOO_HOT = "too-hot"
    DIRECT_CURRENT = "direct-current"
    BASS_LOST = "bass-lost"
    POP = "pop"
    RIPPLE = "ripple"
    PART = "part"


@dataclass(frozen=True, slots=True)
class Remark:
    """One thing to know about a stage.

    Attributes
    ----------
    kind : RemarkKind
    text : str
        What was seen, with numbers.
    hint : str
        What to do about it; may be empty.
    place : Place or None
        Where it stands in the description.
    serious : bool
        It can damage something, or the figures no longer mean what they say.
    """

    kind: RemarkKind
    text: str
    hint: str = ""
    place: Place | None = None
    serious: bool = False


def stage_remarks(measure: StageMeasure) -> tuple[Remark, ...]:
    """Return what there is to say about a measured stage, the serious things first.

    Parameters
    ----------
    measure : StageMeasure

    Returns
    -------
    tuple of Remark
        Some of them rest on further runs: shorter counters and another edge for pulse-width modulation.
    """
    from psgmodel.output_stage.stage.remarks_analog import analog_remarks
    from psgmodel.output_stage.stage.remarks_digital import digital_remarks

    found = [*analog_remarks(measure), *digital_remarks(measure), *_notes(measure)]
    return tuple(sorted(found, key=lambda remark: not remark.serious))


def _notes(measure: StageMeasure) -> Iterator[Remark]:
    told = {NoteKind.HEAVY_ON_PIN, NoteKind.DIRECT_CURRENT}  # elsewhere, with the stage's own numbers
    if isinstance(measure.stage.output, Converter):
        told.add(NoteKind.NOTHING_HELD_BACK)  # it has a filter of its own
    for note in network_notes(measure.stage.network):
        if note.kind in told:
            continue
        hint, place = note.hint, note.place
        if not hint and note.kind in (NoteKind.AUDIO_HELD_BACK, NoteKind.NOTHING_HELD_BACK):
            slip = thousandfold_slip(measure.stage.network)
            if slip is not None:
                hint, place = f"{slip.name} {format_value(slip.value, slip.kind.unit)}?", slip.place
        yield Remark(RemarkKind.PART, note.text, hint, place)


def thousandfold_slip(network: Network) -> Element | None:
    """Return the one part that makes a filter of the network when its value is a thousand times larger or smaller.

    A filter: 1 kHz within 3 dB of the strongest frequency, 10 MHz 20 dB or more below it.
    """
    hz = [20.0, 100.0, 1e3, 5e3, 1e5, 1e7]
    for part in network.elements:
        if part.name in ("R_pin", "R_load", "C_load"):
            continue
        for factor in (1e-3, 1e3):
            tried = replace(part, value=part.value * factor)
            elements = tuple(tried if e is part else e for e in network.elements)
            gain = [abs(complex(g)) for g in transfer(replace(network, elements=elements), hz)]
            if gain[2] > 0.7 * max(gain) and gain[5] < 0.1 * max(gain):
                return tried
    return None


def cautions(measure: StageMeasure, *, rendered: bool) -> tuple[str, ...]:
    """Return the cautions that belong to a stage, deferring to data sheets, local codes and licensed practice.

    Parameters
    ----------
    measure : StageMeasure
    rendered : bool
        A sound file was made.
    """
    load = measure.stage.network.load
    low = load is not None and load.resistance is not None and load.resistance < LOW_LOAD_OHM
    texts = []
    if rendered or low:
        texts.append(HEARING)
    if low or abs(measure.dc) > 0.02:
        texts.append(DIRECT)
    return (*texts, CURRENT, SUPPLY)


LOW_LOAD_OHM = 1000.0
"""Loads below this are headphones or loudspeakers, not inputs."""

HEARING = (
    "Hearing: start at the lowest volume and raise it slowly; test tones are louder than music of the same peak "
    "level. This program does not know how loud your equipment plays; the noise-exposure rules of where you are apply."
)
DIRECT = (
    "DC: direct current heats headphones and loudspeakers and can ruin them, also when an output stalls at 0 or 1. "
    "Couple them by a capacitor, connect them after power-up, and follow their data sheets."
)
CURRENT = (
    "Pin: a drive setting limits no current. Short circuits can pass far more than the rating; the data sheet of the "
    "device decides, for the pin and for the sum over its bank."
)
SUPPLY = (
    "Supply: use isolated, certified low-voltage supplies and leave protective earth connected. Anything at mains "
    "voltage is work for a licensed person under the codes of where you are. These figures are no safety approval."
)
