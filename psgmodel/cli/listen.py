"""listen: a register log to the sound device, quietly.

Stage: cli. In: a log and a chip description. Out: sound, after a caution. Where nothing can be played the sound goes to
a WAV file instead and the exit status is still 0: the caller gets something to listen to, and is told why not here.
"""

from __future__ import annotations

import argparse
import textwrap
from collections.abc import Iterator
from typing import TYPE_CHECKING

from psgmodel.cli.folders import default_output
from psgmodel.cli.parser import CommandParser, UsageError
from psgmodel.cli.progress import progress
from psgmodel.cli.screen import Screen
from psgmodel.cli.sound import SoundJob, add_sound_arguments, open_job, sound_blocks
from psgmodel.errors import nearest

if TYPE_CHECKING:
    from psgmodel.audio.renderer import Samples

_PURPOSE = """Play a register log on the sound device: 20 dB below full scale, faded in, without DC.
Ctrl-C ends it with a ramp. Where nothing can be played, a WAV file is written instead.
Start at the lowest volume and raise it slowly: test tones are louder than music of the
same peak level."""
_EXAMPLE = """  psgmodel listen out/jingle.csv --chip out/linnet.toml
  psgmodel listen out/jingle.csv --chip out/linnet.toml --only noise --from 2s --to 4s"""
_CAUTION_WIDTH = 88


def make_parser() -> CommandParser:
    """Return the parser of this command."""
    parser = CommandParser("listen", "LOG --chip CHIP [options]", _PURPOSE, _EXAMPLE)
    add_arguments(parser)
    return parser


def add_arguments(parser: CommandParser) -> None:
    """Add the arguments of this command."""
    add_sound_arguments(parser)
    parser.add_argument("--only", metavar="CHANNEL", help="one channel, as loud as it is in the mix")
    parser.add_argument("--level", type=float, default=-20.0, metavar="DB", help="playback level, 0 or less (-20)")
    parser.add_argument("--device", help="name or number of the sound device")


def run(arguments: argparse.Namespace, screen: Screen) -> int:
    """Play, or write a file and say why."""
    from psgmodel.audio.playback import DEFAULT_DC_BLOCK_HZ, LISTENING_CAUTION, PlaybackError, play
    from psgmodel.report.sound import stretch_json, stretch_text

    job = open_job(arguments, None)
    names = list(job.chip.unit.outputs)
    if arguments.only is not None:
        if arguments.only not in job.chip.channels:
            known = list(job.chip.channels)
            hint = nearest(arguments.only, known) or f"channels: {', '.join(known)}"
            raise UsageError(f'listen: no channel "{arguments.only}"', hint=hint)
        names = [arguments.only]
    screen.say_block(stretch_text(job.chip, job.log, job.start, job.end))
    screen.result(**stretch_json(job.chip, job.log, job.start, job.end), signals=names)
    screen.note("caution")
    for line in textwrap.wrap(LISTENING_CAUTION, _CAUTION_WIDTH - 2):
        screen.aside(f"  {line}")
    device = int(arguments.device) if (arguments.device or "").isdigit() else arguments.device
    try:
        with progress(screen, f"playing {', '.join(names)}", job.end) as bar:
            played = play(
                sound_blocks(job, names, bar),
                job.rate,
                level_db=arguments.level,
                dc_block_hz=DEFAULT_DC_BLOCK_HZ,
                device=device,
            )
    except PlaybackError as error:
        return _write_instead(job, names, arguments.log, error, screen)
    seconds = played.samples / job.rate
    screen.say(f"played {seconds:.3f} s on {played.device}, {-arguments.level:g} dB below full scale")
    screen.result(played=True, device=played.device, seconds_played=seconds, stopped=played.stopped, file=None)
    if played.stopped:
        raise KeyboardInterrupt
    return 0


def _write_instead(job: SoundJob, names: list[str], log: str, reason: Exception, screen: Screen) -> int:
    from psgmodel.audio.files import write_audio

    path = default_output(log)
    with progress(screen, f"rendering {path}", job.end) as bar:

        def blocks() -> Iterator[Samples]:
            return sound_blocks(job, names, bar)

        write_audio(path, blocks, job.rate, overload="scale")
    screen.note(str(reason))
    screen.say(f"wrote {path} instead")
    screen.result(played=False, reason=str(reason), file=path)
    return 0
