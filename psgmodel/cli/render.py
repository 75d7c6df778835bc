"""render: a register log to audio files.

Stage: cli. In: a log and a chip description. Out: a WAV or FLAC file of the outputs, or one of each channel, and what
was written in words or JSON.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from psgmodel.cli.folders import default_output
from psgmodel.cli.parser import CommandParser, UsageError
from psgmodel.cli.progress import progress
from psgmodel.cli.screen import Screen
from psgmodel.cli.sound import SoundJob, add_sound_arguments, open_job, sound_blocks

if TYPE_CHECKING:
    from psgmodel.audio.files import WrittenAudio
    from psgmodel.audio.renderer import Samples
    from psgmodel.audio.sinks import Depth
    from psgmodel.audio.spectra import Spectrogram
    from psgmodel.report.sound import WrittenSignals

_PURPOSE = """Turn a register log into sound: band-limited samples of the outputs, or of each channel.
Channels keep the balance they have in the mix: 0 dBFS is the largest output code.
A file is written whole or not at all; a log that passes full scale is refused unless
--overload says what to do."""
_EXAMPLE = """  psgmodel render out/jingle.csv --chip out/linnet.toml -o out/jingle.wav
  psgmodel render out/jingle.csv --chip out/linnet.toml --channels separate --from 2s --to 4s"""
_DEPTHS: dict[str, Depth] = {"16": "pcm16", "24": "pcm24", "float": "float32"}


def make_parser() -> CommandParser:
    """Return the parser of this command."""
    parser = CommandParser("render", "LOG --chip CHIP [options]", _PURPOSE, _EXAMPLE)
    add_arguments(parser)
    return parser


def add_arguments(parser: CommandParser) -> None:
    """Add the arguments of this command."""
    add_sound_arguments(parser)
    parser.add_argument("-o", "--output", metavar="FILE", help="ends in .wav or .flac (out/LOG.wav)")
    parser.add_argument("--depth", choices=_DEPTHS, default="16", help="bits of a sample (16); float for .wav only")
    parser.add_argument(
        "--channels", choices=("mixed", "separate"), default="mixed", help="one file of the outputs, or one a channel"
    )
    parser.add_argument("--dc-block", type=float, metavar="HZ", help="high-pass that takes out DC, such as 10")
    parser.add_argument(
        "--overload",
        choices=("error", "scale", "clip", "keep"),
        default="error",
        help="above full scale: refuse, lower all, flatten, or keep (float only)",
    )
    parser.add_argument("--dither", type=int, metavar="SEED", help="triangular dither, 16 bit only")
    parser.add_argument("--picture", metavar="FILE", help="spectrogram of what was written, .png or .svg")


def run(arguments: argparse.Namespace, screen: Screen) -> int:
    """Render and say what was written."""
    from psgmodel.report.plots import check_picture_name, spectrogram_picture
    from psgmodel.report.sound import rendered_json, rendered_text
    from psgmodel.units import cycles_to_seconds

    if arguments.mono and arguments.channels == "separate":
        raise UsageError("--mono mixes what --channels separate keeps apart", hint="give one of them")
    if arguments.picture:
        check_picture_name(arguments.picture)
    job = open_job(arguments, arguments.dc_block)
    written: list[WrittenSignals] = []
    spectrograms: list[tuple[str, Spectrogram]] = []
    for path, names in _files(job, arguments):
        one, pictures = _write(job, arguments, path, names, screen)
        labels = ["mono"] if job.mono else names
        written.append((one, labels))
        spectrograms += zip(labels, pictures, strict=bool(arguments.picture))
    screen.say_block(rendered_text(job.chip, job.log, job.start, job.end, written))
    screen.result(**rendered_json(job.chip, job.log, job.start, job.end, written), picture=None)
    if arguments.picture:
        title = f"{job.chip.unit.name} - {Path(arguments.log).name}"
        begin = float(cycles_to_seconds(job.start, job.chip.clock_hz))
        spectrogram_picture(arguments.picture, spectrograms, title=title, start_s=begin)
        screen.say(f"\npicture  {arguments.picture}")
        screen.result(picture=arguments.picture)
    return 0


def _files(job: SoundJob, arguments: argparse.Namespace) -> list[tuple[str, list[str]]]:
    """Return each file to write with the signals in it."""
    base = Path(arguments.output or default_output(arguments.log))
    if arguments.channels == "mixed":
        return [(str(base), list(job.chip.unit.outputs))]
    return [(str(base.with_name(f"{base.stem}-{name}{base.suffix}")), [name]) for name in job.chip.channels]


def _write(
    job: SoundJob, arguments: argparse.Namespace, path: str, names: list[str], screen: Screen
) -> tuple[WrittenAudio, list[Spectrogram]]:
    from psgmodel.audio.columns import ColumnsState
    from psgmodel.audio.files import write_audio

    columns: ColumnsState | None = None
    with progress(screen, f"rendering {Path(path).name}", job.end) as bar:

        def blocks() -> Iterator[Samples]:
            nonlocal columns
            columns = ColumnsState(job.rate, job.samples) if arguments.picture else None
            for block in sound_blocks(job, names, bar):
                if columns is not None:
                    columns.add(block)
                yield block

        written = write_audio(
            path,
            blocks,
            job.rate,
            depth=_DEPTHS[arguments.depth],
            overload=arguments.overload,
            dither_seed=arguments.dither,
            clock_hz=job.chip.clock_hz,
            origin=job.start,
        )
    return written, [] if columns is None else columns.finish()
