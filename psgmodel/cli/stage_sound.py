"""Sound of a stage: what the load hears of a tone, a register log or a sound file; how loud channels are.

Stage: cli. In: parsed arguments and a stage. Out: a sound file, and what was heard in words and plain values.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Iterator
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from psgmodel.cli.folders import make_folder
from psgmodel.cli.parser import UsageError
from psgmodel.cli.progress import progress
from psgmodel.cli.screen import Screen
from psgmodel.errors import nearest

if TYPE_CHECKING:
    from psgmodel.chip import Chip
    from psgmodel.output_stage.stage import Stage
    from psgmodel.report.stage_picture import HeardSpectrum
    from psgmodel.steps import Steps

_TONE_S = 1
_PIECE_S = Fraction(1, 4)


def play_for_stage(
    arguments: argparse.Namespace, stage: Stage, name: str, result: dict[str, Any], screen: Screen
) -> tuple[str, HeardSpectrum]:
    """Render what the load hears, write it, and return it in words and as a spectrum."""
    import numpy as np

    from psgmodel.audio import write_audio
    from psgmodel.output_stage.networks import state_space
    from psgmodel.output_stage.stage import RATE, HeardState, SoundFollower, follow_code, response_of
    from psgmodel.output_stage.stage.loudness import full_scale_volts
    from psgmodel.report.stage import heard_text, written_text
    from psgmodel.report.stage_json import heard_json
    from psgmodel.report.stage_picture import heard_spectrum

    source, length, pieces = _source(arguments, stage)
    state, heard = HeardState(stage), []
    follower = SoundFollower(stage) if arguments.log or arguments.wav else None
    with progress(screen, f"playing {source[:40]}", length) as bar:
        for piece in pieces:
            heard.append(state.push(piece))
            if follower is not None:
                follower.push(piece)
            bar.update(piece.end)
        heard.append(state.finish())
    volts = np.concatenate(heard)
    sound = follow_code(stage, volts, None if follower is None else follower.finish())
    text = heard_text(sound, source, stage.title, state.path.saturations, state.clocks)
    result["heard"] = heard_json(sound, source) | {"saturations": state.path.saturations, "clocks": state.clocks}
    if not arguments.figures_only or arguments.sound:
        path = arguments.sound or str(make_folder("out") / f"{name}.wav")
        full_scale = full_scale_volts(stage, response_of(state_space(stage.network)))
        written = write_audio(path, volts / full_scale, RATE, overload="scale")
        text += written_text(written, full_scale)
        result["heard"] |= {"file": path, "full_scale_v": full_scale / written.gain}
    return text, heard_spectrum(volts, RATE, f"{stage.title}, {source}")


def _source(arguments: argparse.Namespace, stage: Stage) -> tuple[str, int, Iterator[Steps]]:
    """Return what is played: its name, its length in clocks of the code, and the code in pieces."""
    if arguments.log:
        return _log(arguments, stage)
    if arguments.wav:
        return _sound_file(arguments, stage)
    return _tone(stage)


def _tone(stage: Stage) -> tuple[str, int, Iterator[Steps]]:
    from psgmodel.output_stage.stage import plan_tone
    from psgmodel.output_stage.stage.tone import tone_part

    plan = plan_tone(stage)
    length = round(_TONE_S * stage.code.clock)
    piece = round(_PIECE_S * stage.code.clock)
    pieces = (tone_part(stage, plan, at, min(at + piece, length)) for at in range(0, length, piece))
    return f"a sine of {float(plan.hz):.0f} Hz", length, pieces


def _log(arguments: argparse.Namespace, stage: Stage) -> tuple[str, int, Iterator[Steps]]:
    from psgmodel.cli.sound import open_job
    from psgmodel.engine import run_pieces

    wanted = argparse.Namespace(**vars(arguments), rate=48_000, tail="0", mono=False)
    job = open_job(wanted, None)
    name = arguments.signal or job.chip.unit.outputs[0]
    if name not in job.chip.unit.outputs:
        known = ", ".join(job.chip.unit.outputs)
        raise UsageError(f'stage: no output "{name}"', hint=nearest(name, job.chip.unit.outputs) or f"outputs: {known}")
    check_fit(stage, job.chip)

    def pieces() -> Iterator[Steps]:
        for trace in run_pieces(job.chip, job.log, round(_PIECE_S * job.chip.clock_hz), end=job.end):
            if trace.end > job.start:
                yield trace[name].cut(job.start, trace.end).shifted(-job.start)

    return f"{job.log.source}, {name}", job.end - job.start, pieces()


def check_fit(stage: Stage, chip: Chip) -> None:
    """Refuse a chip whose code is not the one that the stage is described for.

    Raises
    ------
    UsageError
        Another width or another clock.
    """
    code = stage.code
    if (code.bits, code.clock) != (chip.mixer.bits, chip.clock_hz):
        raise UsageError(
            f"stage: {chip.unit.name} makes {chip.mixer.bits} bits at {chip.clock_hz} Hz, "
            f"{stage.file} takes {code.bits} bits at {code.clock} Hz",
            hint="set [code] of the stage to what the chip makes",
        )


def _sound_file(arguments: argparse.Namespace, stage: Stage) -> tuple[str, int, Iterator[Steps]]:
    import numpy as np

    from psgmodel.audio import read_audio
    from psgmodel.output_stage.modulators import Rounding, steps_of_samples, steps_to_clock
    from psgmodel.units import parse_time

    read = read_audio(arguments.wav)
    start = parse_time(arguments.start, read.rate)
    end = len(read.samples) if arguments.end is None else min(parse_time(arguments.end, read.rate), len(read.samples))
    if end <= start:
        raise UsageError(f"stage: nothing to hear from sample {start} to sample {end}", hint="look at --from and --to")
    mixed = read.samples[start:end].mean(axis=1)
    over = float(np.abs(mixed).max())
    if over > 1:
        raise UsageError(
            f"stage: {arguments.wav} passes full scale by {20 * math.log10(over):.1f} dB", hint="lower it first"
        )
    middle = stage.code.middle
    codes = np.clip(np.rint(middle + middle * mixed), 0, stage.code.top).astype(np.int64)
    piece = max(1, round(_PIECE_S * read.rate))

    def pieces() -> Iterator[Steps]:
        for at in range(0, codes.size, piece):
            held = steps_of_samples(codes[at : at + piece], 1, at)
            yield steps_to_clock(held, read.rate, stage.code.clock, Rounding.UP)

    return arguments.wav, round(codes.size * stage.code.clock / read.rate), pieces()


def channel_loudness(arguments: argparse.Namespace, stage: Stage, result: dict[str, Any]) -> str:
    """Return how loud each channel of the chip is at the load, at one volume code."""
    from psgmodel.chip import load_chip
    from psgmodel.cli.stage_channels import channel_tones, largest_common_volume
    from psgmodel.output_stage.stage import loudness_at_load
    from psgmodel.report.stage import loudness_text
    from psgmodel.report.stage_json import finite

    chip = load_chip(arguments.chip)
    check_fit(stage, chip)
    top = largest_common_volume(chip)
    volume = top if arguments.volume is None else arguments.volume
    if not 0 < volume <= top:
        raise UsageError(f"stage: --volume {volume}", hint=f"every channel takes 1 to {top}")
    found = [(name, loudness_at_load(stage, code), how) for name, code, how in channel_tones(chip, volume)]
    result["channel_loudness"] = {
        "volume": volume,
        "channels": [{"name": name, "lkfs": finite(value), "plays": how} for name, value, how in found],
    }
    return loudness_text(found, volume)
