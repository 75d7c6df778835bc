"""Notes on a network: legal but odd, told and never printed.

Stage: the analog side of the output stage. A checked `Network` in; frozen notes out, each with a kind, a text, a
place and a hint. What makes a network unusable is an error instead (`checks`).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import Enum

import numpy as np

from psgmodel.errors import Place
from psgmodel.output_stage.loads import LoadKind
from psgmodel.output_stage.networks.records import GROUND, Element, Network, PartKind
from psgmodel.output_stage.networks.response import FrequencyResponse, frequency_response
from psgmodel.output_stage.parts_text import Unit, format_value


class NoteKind(Enum):
    """What a note is about."""

    UNLIKELY_VALUE = "unlikely-value"
    LITTLE_REACHES_LOAD = "little-reaches-load"
    AUDIO_HELD_BACK = "audio-held-back"
    NOTHING_HELD_BACK = "nothing-held-back"
    DIRECT_CURRENT = "direct-current"
    HEAVY_ON_PIN = "heavy-on-pin"
    DEAD_END = "dead-end"


@dataclass(frozen=True, slots=True)
class NetworkNote:
    """One odd thing.

    Attributes
    ----------
    kind : NoteKind
    text : str
    place : Place or None
    hint : str
        May be empty.
    """

    kind: NoteKind
    text: str
    place: Place | None = None
    hint: str = ""

    def __str__(self) -> str:
        text = f"{self.place}: {self.text}" if self.place else self.text
        return f"{text} ({self.hint})" if self.hint else text


LIKELY: dict[PartKind, tuple[float, float]] = {
    PartKind.RESISTOR: (0.01, 100e6),
    PartKind.CAPACITOR: (0.5e-12, 0.1),
    PartKind.INDUCTOR: (1e-9, 1.0),
}
"""Lowest and highest likely value (ohm, farad, henry) of a part at an audio output; common practice, no source."""

_SLIPS: dict[PartKind, tuple[float, ...]] = {
    PartKind.RESISTOR: (1e3, 1e9, 1e6, 1e-3, 1e-6, 1e-9),
    PartKind.CAPACITOR: (1e-6, 1e-9, 1e-12, 1e3, 1e6),
    PartKind.INDUCTOR: (1e-6, 1e-3, 1e-9, 1e3, 1e6),
}
"""Factors of a forgotten or wrong prefix, likeliest first."""


def network_notes(network: Network) -> tuple[NetworkNote, ...]:
    """Return what is legal but odd about a network.

    Parameters
    ----------
    network : Network

    Returns
    -------
    tuple of NetworkNote
        Unlikely values with the likely slip of unit; parts that lead nowhere; a load that hardly gets anything; a
        filter that is off by a thousand; direct current into a headphone; a network that asks much of the pin.

    Raises
    ------
    StageError
        The network is refused by `check_network`.
    """
    frequency = np.concatenate([[0.0], np.logspace(0, 8, 161)])
    response = frequency_response(network, frequency)
    return (
        *_value_notes(network),
        *_dead_ends(network),
        *_load_notes(network, response),
        *_corner_notes(network, response),
        *_pin_notes(network, response),
    )


def _value_notes(network: Network) -> Iterator[NetworkNote]:
    for e in network.elements:
        low, high = LIKELY[e.kind]
        if low <= e.value <= high:
            continue
        likely = next((e.value * f for f in _SLIPS[e.kind] if low <= e.value * f <= high), None)
        hint = f"{format_value(likely, e.kind.unit)}?" if likely is not None else ""
        yield NetworkNote(
            NoteKind.UNLIKELY_VALUE,
            f"{e.kind.value} {e.name} is {format_value(e.value, e.kind.unit)}: unlikely at an audio output",
            e.place,
            hint,
        )


def _dead_ends(network: Network) -> Iterator[NetworkNote]:
    touches = Counter(n for e in network.elements for n in (e.first, e.second))
    touches.update(n for a in network.op_amps for n in (a.plus, a.minus, a.out))
    touches.update([*(r.node for r in network.references), network.source, network.output])
    for e in network.elements:
        for node in (e.first, e.second):
            if node != GROUND and touches[node] == 1:
                yield NetworkNote(
                    NoteKind.DEAD_END,
                    f'{e.kind.value} {e.name} leads nowhere: nothing else is on node "{node}"',
                    e.place,
                )


def _with_values(network: Network, factor: float, kinds: tuple[PartKind, ...], name: str = "") -> Network:
    def scaled(e: Element) -> Element:
        taken = e.kind in kinds and e.name not in ("R_load", "C_load") and name in ("", e.name)
        return replace(e, value=e.value * factor) if taken else e

    return replace(network, elements=tuple(scaled(e) for e in network.elements))


def _load_notes(network: Network, response: FrequencyResponse) -> Iterator[NetworkNote]:
    load = network.load
    if load is None or load.resistance is None:
        return
    best = float(np.abs(response.output()).max())
    place = next((e.place for e in network.elements if e.name == "R_load"), None)
    ohms = format_value(load.resistance, Unit.OHM)
    if 0 < best < 0.05:
        hint = ""
        for e in network.elements:
            if e.kind is PartKind.RESISTOR and e.value >= 100 * load.resistance and e.name != "R_load":
                fixed = _with_values(network, 1e-3, (PartKind.RESISTOR,), e.name)
                if float(np.abs(frequency_response(fixed, response.frequency).output()).max()) > 5 * best:
                    hint, place = f"{e.name} {format_value(e.value / 1e3, Unit.OHM)}?", e.place
                    break
        yield NetworkNote(
            NoteKind.LITTLE_REACHES_LOAD,
            f"at best {100 * best:.2g} % of the pin voltage ({20 * np.log10(best):.1f} dB) reaches the load of {ohms}",
            place,
            hint,
        )
    direct = abs(float(response.output()[0].real))
    if load.kind is LoadKind.HEADPHONE and direct > 1e-6:
        yield NetworkNote(
            NoteKind.DIRECT_CURRENT,
            f"direct current reaches the headphone: {direct:.3g} V for each volt at the pin. It heats the voice "
            "coil, and a stalled output holds it there; follow the headphone's data sheet",
            place,
            "add a coupling capacitor",
        )


def _corner_notes(network: Network, response: FrequencyResponse) -> Iterator[NetworkNote]:
    stores = (PartKind.CAPACITOR, PartKind.INDUCTOR)
    own = [e for e in network.elements if e.kind in stores and e.name != "C_load"]
    if not own:
        return
    held, passed = _held_back(response, 1e3), _held_back(response, 10e6)
    if held > 20:
        kind = NoteKind.AUDIO_HELD_BACK
        text = f"1 kHz comes out {held:.0f} dB below the strongest frequency: the audio band is held back"
    elif passed < 3:
        kind = NoteKind.NOTHING_HELD_BACK
        text = f"10 MHz comes out only {passed:.1f} dB below the strongest frequency: the filter holds nothing back"
    else:
        return
    hint = ""
    for factor, word in ((1e-3, "smaller"), (1e3, "larger")):
        for part in stores:
            tried = frequency_response(_with_values(network, factor, (part,)), response.frequency)
            changed = any(e.kind is part for e in own)
            if changed and not hint and _held_back(tried, 1e3) < 3 and _held_back(tried, 10e6) > 20:
                hint = f"{part.value}s a thousand times {word}?"
    yield NetworkNote(kind, text, own[0].place, hint)


def _held_back(response: FrequencyResponse, frequency: float) -> float:
    """Return by how many decibels a frequency lies below the strongest one."""
    size = np.maximum(np.abs(response.output()[1:]), 1e-300)
    at = int(np.argmin(np.abs(response.frequency[1:] - frequency)))
    return float(20 * np.log10(size.max() / size[at]))


def _pin_notes(network: Network, response: FrequencyResponse) -> Iterator[NetworkNote]:
    current = np.abs(response.pin_current())
    most = int(np.argmax(current))
    if current[most] > 0.01:
        ohms = format_value(1 / float(current[most]), Unit.OHM)
        yield NetworkNote(
            NoteKind.HEAVY_ON_PIN,
            f"the pin sees as little as {ohms}, at {format_value(float(response.frequency[most]), Unit.HERTZ)}: each "
            f"volt of swing asks {format_value(float(current[most]), Unit.AMPERE)} of it. A drive setting limits no "
            "current; follow the data sheet of the device",
            None,
            "add a series resistor or a buffer",
        )
