"""Sound: what `render` and `listen` share: which part of a log, which signals, and the blocks of samples.

Stage: cli. In: parsed arguments. Out: a `SoundJob`, and float64 blocks of shape (n, channels), 1.0 at full scale.
Memory does not grow with the length of the log.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from psgmodel.cli.parser import CommandParser, UsageError
from psgmodel.errors import PsgmodelError

if TYPE_CHECKING:
    import argparse

    from psgmodel.audio.renderer import Samples
    from psgmodel.chip import Chip
    from psgmodel.cli.progress import ProgressState
    from psgmodel.reglog import RegisterLog

_PIECE_S = 0.5


@dataclass(frozen=True, slots=True)
class SoundJob:
    """A stretch of a log to be heard.

    Attributes
    ----------
    chip : Chip
    log : RegisterLog
    start, end : int, clock cycles
        Sample 0 stands at `start`; the unit is run from reset all the same.
    rate : int, hertz
    mono : bool
        The outputs are averaged to one channel.
    dc_block_hz : float or None, hertz
    """

    chip: Chip
    log: RegisterLog
    start: int
    end: int
    rate: int
    mono: bool
    dc_block_hz: float | None

    @property
    def seconds(self) -> float:
        """Length in seconds."""
        return float((self.end - self.start) / self.chip.clock_hz)

    @property
    def samples(self) -> int:
        """Number of samples per channel, to within one."""
        return int((self.end - self.start) * self.rate / self.chip.clock_hz)


def add_sound_arguments(parser: CommandParser) -> None:
    """Add the arguments that choose what is heard."""
    parser.add_argument("log", metavar="LOG", help="register log, .csv or .npz")
    parser.add_argument("--chip", metavar="CHIP", required=True, help="chip description, .toml")
    parser.add_argument("--rate", type=int, default=48_000, metavar="HZ", help="sample rate (48000)")
    parser.add_argument("--from", dest="start", metavar="TIME", default="0", help="begin here: cycles, or 1.5s, 250ms")
    parser.add_argument("--to", dest="end", metavar="TIME", help="end here (the end of the log)")
    parser.add_argument("--tail", metavar="TIME", default="0", help="go on this long after the end of the log")
    parser.add_argument("--mono", action="store_true", help="average the outputs to one channel")


def open_job(arguments: argparse.Namespace, dc_block_hz: float | None) -> SoundJob:
    """Read chip and log and settle what is heard.

    Raises
    ------
    PsgmodelError
        Files that cannot be used, or times that make no stretch.
    """
    from psgmodel.audio.grid import output_grid
    from psgmodel.chip import load_chip
    from psgmodel.reglog import check_log, load_log

    chip = load_chip(arguments.chip)
    log = load_log(arguments.log)
    check_log(log, chip)
    output_grid(chip.clock_hz, arguments.rate)
    start = time_argument("--from", arguments.start, chip)
    tail = time_argument("--tail", arguments.tail, chip)
    end = log.end + tail if arguments.end is None else time_argument("--to", arguments.end, chip)
    if end <= start:
        raise UsageError(f"nothing to hear from cycle {start} to cycle {end}", hint="look at --from and --to")
    return SoundJob(chip, log, start, end, arguments.rate, arguments.mono, dc_block_hz)


def time_argument(option: str, text: str, chip: Chip) -> int:
    """Return an option's time in clock cycles."""
    from psgmodel.units import parse_time

    try:
        return parse_time(text, chip.clock_hz)
    except PsgmodelError as error:
        problem = error.problems[0]
        raise UsageError(f"{option}: {problem.message}", hint=problem.hint) from error


def sound_blocks(job: SoundJob, names: list[str], bar: ProgressState) -> Iterator[Samples]:
    """Run the unit and render some signals that share a full scale.

    Yields
    ------
    ndarray of float64, shape (n, names), or (n, 1) for a mono job; 1.0 at full scale
    """
    from psgmodel.audio.dc_block import DcBlock
    from psgmodel.audio.traces import trace_blocks
    from psgmodel.engine import Trace, run_pieces

    def pieces() -> Iterator[Trace]:
        piece = max(1, round(_PIECE_S * job.chip.clock_hz))
        for trace in run_pieces(job.chip, job.log, piece, end=job.end):
            bar.update(trace.end)
            yield trace

    high_pass = None if job.dc_block_hz is None else DcBlock(job.dc_block_hz, job.rate)
    for block in trace_blocks(pieces(), job.chip, job.rate, names, start=job.start):
        mixed = block.mean(axis=1, keepdims=True) if job.mono else block
        yield mixed if high_pass is None else high_pass.process(mixed)
