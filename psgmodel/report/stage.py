"""Stage: one output stage, or several side by side, in words.

Stage: report. In: measured stages and remarks. Out: text of at most 96 columns, the verdict first where limits were
given.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import PurePath

from psgmodel.audio.files import WrittenAudio
from psgmodel.output_stage.loads import LoadKind
from psgmodel.output_stage.modulators import FirstOrder, Pwm, SecondOrder
from psgmodel.output_stage.networks import GROUND, Network
from psgmodel.output_stage.parts_text import Unit, format_value
from psgmodel.output_stage.stage import (
    Converter,
    HeardSound,
    Pin,
    Remark,
    ShapedPwm,
    Stage,
    StageMeasure,
    carrier_hz,
)
from psgmodel.output_stage.stage.prices import bought_parts
from psgmodel.report.layout import counted, paragraph, table
from psgmodel.report.stage_rows import Row, amperes, figure_rows, hertz, volts
from psgmodel.units import show_hertz

_LOADS = {
    LoadKind.LINE_INPUT: "line input",
    LoadKind.HEADPHONE: "headphone",
    LoadKind.AMPLIFIER_INPUT: "amplifier input",
    LoadKind.OWN: "own load",
    LoadKind.OPEN: "nothing connected",
}


ABREAST = 3
"""Most stages in one table: more would not fit a terminal."""


def measured_text(measure: StageMeasure, remarks: Sequence[Remark]) -> str:
    """Return the whole report of one stage."""
    text = verdict_text(measure)
    text += described_text(measure.stage) + _tone_text(measure)
    section = ""
    rows = figure_rows(measure)
    names, values = max(len(r.name) for r in rows), max(len(r.value) for r in rows)
    for row in rows:
        if row.section != section:
            section = row.section
            text += f"\n{section}\n"
        text += f"  {row.name:<{names}}  {row.value:<{values}}  {row.how}".rstrip() + "\n"
    return text + remarks_text(remarks)


def verdict_text(measure: StageMeasure) -> str:
    """Return the title, and whether the user's limits are met."""
    verdicts = measure.verdicts()
    missed = [v for v in verdicts if not v.met]
    head = f"{measure.stage.title}  ({PurePath(measure.stage.file).name})\n"
    if not verdicts:
        return head
    if not missed:
        return f"MEETS {counted(len(verdicts), 'limit')}  {head}"
    lines = "".join(f"  {v}\n" for v in missed)
    return f"MISSES {len(missed)} of {counted(len(verdicts), 'limit')}  {head}{lines}"


def described_text(stage: Stage) -> str:
    """Return what a stage is made of, a line each."""
    code = stage.code
    rows = [("code", f"{code.bits} bits at {show_hertz(code.clock)}, silence is code {code.silence}")]
    if isinstance(stage.output, Pin):
        rating = "no rating given" if stage.output.rating is None else f"rated {amperes(stage.output.rating)}"
        resistance = format_value(stage.output.resistance, Unit.OHM)
        rows.append(("pin", f"{volts(stage.output.supply)}, {resistance}, {rating}, clock {show_hertz(stage.clock)}"))
    rows += [("makes", modulator_text(stage)), ("network", network_text(stage.network)), ("load", load_text(stage))]
    return "".join(paragraph(value, indent=" " * 11, first=f"  {name:<9}") for name, value in rows)


def modulator_text(stage: Stage) -> str:
    """Return what stands between code and network."""
    form, output = stage.modulator, stage.output
    if isinstance(output, Converter):
        noise = "" if output.snr_a is None else f", SNR {output.snr_a:g} dB A-weighted"
        thd = "" if output.thd is None else f", THD {output.thd:g} dB"
        sheet = f" by its data sheet{noise}{thd}" if noise or thd else ""
        return (
            f"converter, {output.bits} bits at {show_hertz(output.rate)}, fed {output.feed.value}, full scale "
            f"{volts(output.full_scale)} rms, stop band {output.stop_attenuation:g} dB down{sheet}"
        )
    carrier = carrier_hz(stage)
    at = "" if carrier is None else f", carrier {show_hertz(carrier)}"
    if isinstance(form, ShapedPwm):
        shape = "first" if form.shaper.order == 1 else "second"
        return f"PWM, {form.pwm.edge.value} edge, {form.pwm.length} positions{at}, behind a {shape}-order noise shaper"
    if isinstance(form, Pwm):
        return f"PWM, {form.edge.value} edge, {form.length} positions{at}"
    if isinstance(form, FirstOrder):
        return f"sigma-delta, first order, {form.bits}-bit accumulator"
    assert isinstance(form, SecondOrder)
    dither = ", dithered" if form.dither is not None else ""
    return f"sigma-delta, second order, input scaled by {form.input_scale}{dither}"


def network_text(network: Network) -> str:
    """Return the parts between pin and load, in order."""
    words = []
    for part in bought_parts(network):
        way = "to ground" if GROUND in (part.first, part.second) else "in series"
        words.append(f"{part.name} {format_value(part.value, part.kind.unit)} {way}")
    words += [f"{amp.name}, an op amp of {hertz(amp.gain_bandwidth)}" for amp in network.op_amps]
    return ", ".join(words) or "nothing"


def load_text(stage: Stage) -> str:
    """Return what hangs on the output."""
    load = stage.network.load
    if load is None:
        return _LOADS[LoadKind.OPEN]
    values = [] if load.resistance is None else [format_value(load.resistance, Unit.OHM)]
    values += [format_value(load.capacitance, Unit.FARAD)] if load.capacitance else []
    return ", ".join([_LOADS[load.kind], *values])


def _tone_text(measure: StageMeasure) -> str:
    plan = measure.plan
    clocks = counted(plan.end, "clock")
    how = "exact lines" if plan.repeats else "Blackman-Harris window"
    text = (
        f"sine of {hertz(float(plan.hz))} at {plan.dbfs:g} dBFS; {clocks} simulated, the last "
        f"{1000 * float(plan.seconds):.3g} ms measured ({plan.periods} periods; {how})"
    )
    return paragraph(text, indent=" " * 11, first="  tone     ")


def remarks_text(remarks: Sequence[Remark]) -> str:
    """Return the remarks, the serious ones marked."""
    if not remarks:
        return "\nremarks\n  nothing stands out\n"
    text = "\nremarks\n"
    for remark in remarks:
        mark = "  !  " if remark.serious else "  -  "
        place = f"{remark.place.file}:{remark.place.line}: " if remark.place and remark.place.line else ""
        text += paragraph(place + remark.text, indent="     ", first=mark)
        if remark.hint:
            text += paragraph(remark.hint, indent="       ", first="     > ")
    return text


def cautions_text(cautions: Sequence[str]) -> str:
    """Return the cautions."""
    return "\ncautions\n" + "".join(paragraph(text, indent="     ", first="  -  ") for text in cautions)


def compared_text(measures: Sequence[StageMeasure], remarks: Sequence[Sequence[Remark]]) -> str:
    """Return several stages side by side: what they are, every figure, the remarks of each."""
    text = ""
    for number, measure in enumerate(measures, start=1):
        text += f"[{number}] {verdict_text(measure)}{described_text(measure.stage)}{_tone_text(measure)}\n"
    for first in range(0, len(measures), ABREAST):
        text += _side_by_side(measures[first : first + ABREAST], first + 1)
    for number, found in enumerate(remarks, start=1):
        text += f"\n[{number}] {measures[number - 1].stage.title}{remarks_text(found)}"
    return text


def _side_by_side(measures: Sequence[StageMeasure], first: int) -> str:
    """Return the figures of a few stages in columns, a heading for each section."""
    columns = [{_plain(row.name): row for row in figure_rows(m)} for m in measures]
    rows = {name: row for column in reversed(columns) for name, row in column.items()}
    order = sorted(rows, key=lambda name: [r.name for r in _every_row(columns)].index(name))
    cells = []
    for name in order:
        found = [column.get(name) for column in columns]
        cells.append([f"  {name}", *("-" if row is None else row.brief or row.value for row in found)])
    lines = table(["", *(f"[{first + i}]" for i in range(len(measures)))], cells).splitlines()
    text, section = f"{lines[0]}\n", ""
    for name, line in zip(order, lines[1:], strict=True):
        if rows[name].section != section:
            section = rows[name].section
            text += f"\n{section}\n"
        text += f"{line}\n"
    return text


def _every_row(columns: Sequence[dict[str, Row]]) -> list[Row]:
    """Return the rows of the columns, each name once, in the order of a report."""
    longest = sorted(columns, key=len, reverse=True)
    return [row._replace(name=name) for column in longest for name, row in column.items()]


def _plain(name: str) -> str:
    """Return a row's name with pin and output called the same, so that they stand side by side."""
    return name.replace("output, ", "pin, ")


def heard_text(sound: HeardSound, source: str, title: str, saturations: int, clocks: int) -> str:
    """Return what the load heard of a log or file."""
    rows = [
        ("level", f"{volts(sound.levels.ac_rms)} rms, {sound.dbv:.1f} dBV", "mean taken off"),
        ("peak", f"{volts(sound.levels.peak)}", "DC included"),
        ("DC", volts(sound.levels.dc), "mean over all of it"),
        ("loudness", f"{sound.loudness:.1f} LKFS", "BS.1770; 0 dBFS: a full-scale sine here"),
    ]
    if sound.follows_db is not None:
        rows.append(("follows the code", f"{sound.follows_db:.1f} dB", "over what does not, 20 Hz to 20 kHz"))
    if saturations:
        rows.append(("held at a limit", f"{saturations} times", "an accumulator, a shaper or the converter's range"))
    width, values = max(len(r[0]) for r in rows), max(len(r[1]) for r in rows)
    text = "\n" + paragraph(
        f"{title}: what the load hears of {source}, {sound.seconds:.3f} s, {clocks:,} clocks simulated",
        indent="  ",
        first="",
    )
    return text + "".join(f"  {n:<{width}}  {v:<{values}}  {how}\n" for n, v, how in rows)


def written_text(written: WrittenAudio, full_scale: float) -> str:
    """Return what was written, and what full scale of the file stands for."""
    text = f"wrote {written.path}: 1.0 is {volts(full_scale / written.gain)} at the load"
    if written.gain != 1.0:
        text += f" ({-20 * math.log10(written.gain):.1f} dB above a full-scale sine, so that its peak fits)"
    return paragraph(text, indent="    ", first="  ")


def loudness_text(found: Sequence[tuple[str, float, str]], volume: int) -> str:
    """Return the loudness of each channel at one volume code, the loudest first."""
    loudest = max(value for _, value, _ in found)
    rows = [[n, f"{v:.1f}", f"{v - loudest:+.1f} LU", how] for n, v, how in sorted(found, key=lambda f: -f[1])]
    text = f"\nloudness at the load, each channel alone at volume code {volume} (BS.1770; modulator taken as perfect)\n"
    lines = table(("channel", "LKFS", "to the loudest", "plays"), rows, right=(1, 2)).splitlines()
    return text + "".join(f"  {line}\n" for line in lines)
