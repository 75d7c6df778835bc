"""stage: an output stage measured, drawn and heard; or the search for one.

Stage: cli. In: stage files, and perhaps a register log or a sound file to play; or a file of goals. Out: figures,
remarks and cautions in words or JSON, a picture, a WAV file of what the load hears.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from psgmodel.cli.folders import make_folder
from psgmodel.cli.parser import CommandParser, UsageError
from psgmodel.cli.progress import progress
from psgmodel.cli.screen import Screen

if TYPE_CHECKING:
    from psgmodel.cli.progress import ProgressState
    from psgmodel.output_stage.stage import Remark, Stage, StageMeasure
    from psgmodel.report.stage_picture import HeardSpectrum

_PURPOSE = """Measure an output stage: from the code through its modulator, pin and parts to the load. The
test tone gives every figure of the bench; a register log or a sound file is played as well
where one is given. Several stages are set side by side. Draws response and spectrum, and
renders what the load hears. With --search: find stages that meet goals.
Exit status: 0 measured, 1 a limit or goal is missed, 2 unusable input."""
_EXAMPLE = """  psgmodel stage out/stage-pwm-rc.toml out/stage-sigma-delta-rc-rc.toml out/stage-codec.toml
  psgmodel stage out/stage-sigma-delta-rc-rc.toml --log out/jingle.csv --chip out/linnet.toml
  psgmodel stage --search out/stage-goals.toml --keep out/found"""


def make_parser() -> CommandParser:
    """Return the parser of this command."""
    parser = CommandParser("stage", "STAGE [STAGE ...] [options] | --search GOALS", _PURPOSE, _EXAMPLE)
    add_arguments(parser)
    return parser


def add_arguments(parser: CommandParser) -> None:
    """Add the arguments of this command."""
    parser.add_argument("stages", metavar="STAGE", nargs="*", help="stage description, .toml")
    parser.add_argument("--picture", metavar="FILE", help="response and spectrum, .png or .svg (out/STAGE.png)")
    parser.add_argument("--sound", metavar="FILE", help="what the load hears, .wav or .flac (out/STAGE.wav)")
    parser.add_argument("--figures-only", action="store_true", help="write no picture and no sound")
    parser.add_argument("--netlist", metavar="FILE", help="network and 1 ms of the pin for ngspice")
    playing = parser.add_argument_group("in place of the tone, to be heard")
    playing.add_argument("--log", metavar="LOG", help="register log, .csv or .npz; needs --chip")
    playing.add_argument("--chip", metavar="CHIP", help="chip description, .toml; also gives the loudness of channels")
    playing.add_argument("--signal", metavar="NAME", help="output of the chip that is played (the first)")
    playing.add_argument("--wav", metavar="FILE", help="sound file, .wav or .flac; channels are averaged")
    playing.add_argument("--from", dest="start", metavar="TIME", default="0", help="begin here: cycles, or 1.5s, 250ms")
    playing.add_argument("--to", dest="end", metavar="TIME", help="end here (the end)")
    playing.add_argument("--volume", type=int, metavar="CODE", help="volume code for the loudness (the largest)")
    searching = parser.add_argument_group("to find a stage")
    searching.add_argument("--search", metavar="GOALS", help="file of goals, candidates and prices, .toml")
    searching.add_argument("--keep", metavar="FOLDER", help="write the stages found as stage files")


def run(arguments: argparse.Namespace, screen: Screen) -> int:
    """Measure or search, and say what was found."""
    if arguments.search is not None:
        from psgmodel.cli.stage_search import run_search

        if arguments.stages or arguments.log or arguments.wav:
            raise UsageError("stage: --search takes a file of goals alone", hint="measure stages in a run of their own")
        return run_search(arguments, screen)
    _check(arguments)
    return _measure(arguments, screen)


def _check(arguments: argparse.Namespace) -> None:
    if not arguments.stages:
        raise UsageError("stage: no stage file", hint="psgmodel stage --help shows what is accepted")
    if arguments.keep:
        raise UsageError("stage: --keep goes with --search")
    if arguments.log and arguments.wav:
        raise UsageError("stage: --log and --wav are two things to play", hint="give one of them")
    if arguments.log and not arguments.chip:
        raise UsageError("stage: --log needs --chip, the unit that plays it")
    played = arguments.log or arguments.wav
    if (arguments.start != "0" or arguments.end is not None) and not played:
        raise UsageError("stage: --from and --to cut what is played", hint="give --log or --wav with them")
    if arguments.signal and not arguments.log:
        raise UsageError("stage: --signal names an output that plays a log", hint="give --log and --chip with it")
    if arguments.volume is not None and not arguments.chip:
        raise UsageError("stage: --volume is for the loudness of channels", hint="give --chip with it")
    if arguments.picture:
        from psgmodel.report.plots import check_picture_name

        check_picture_name(arguments.picture)
    if arguments.sound and Path(arguments.sound).suffix.lower() not in (".wav", ".flac"):
        raise UsageError(
            f'stage: "{arguments.sound}" does not say which kind of sound file it is', hint="end it in .wav or .flac"
        )
    for option in ("sound", "netlist"):
        if getattr(arguments, option) and len(arguments.stages) > 1:
            raise UsageError(
                f"stage: --{option} names one file for {len(arguments.stages)} stages", hint="one at a time"
            )


def _measure(arguments: argparse.Namespace, screen: Screen) -> int:
    from psgmodel.cli.stage_sound import channel_loudness, play_for_stage
    from psgmodel.output_stage.stage import cautions, load_stage
    from psgmodel.report.stage import cautions_text, compared_text, measured_text
    from psgmodel.report.stage_json import measured_json

    stages = [load_stage(path) for path in arguments.stages]
    measures, remarks = _figures(stages, screen)
    text = compared_text(measures, remarks) if len(stages) > 1 else measured_text(measures[0], remarks[0])
    results = [measured_json(m, r) for m, r in zip(measures, remarks, strict=True)]
    names = _file_names(arguments.stages)
    spectra: list[HeardSpectrum] = []
    for stage, result, name in zip(stages, results, names, strict=True):
        head = f"\n{stage.title}" if len(stages) > 1 else ""
        if arguments.chip:
            text += head + channel_loudness(arguments, stage, result)
        if not arguments.figures_only or arguments.sound or arguments.log or arguments.wav:
            played, spectrum = play_for_stage(arguments, stage, name, result, screen)
            text += played
            spectra += [spectrum] if arguments.log or arguments.wav else []
    text += _files(arguments, measures, names, results, spectra)
    spoken = list(dict.fromkeys(c for m in measures for c in cautions(m, rendered=not arguments.figures_only)))
    screen.say_block(text + cautions_text(spoken))
    screen.result(stages=results, cautions=spoken)
    return 0 if all(m.passes for m in measures) else 1


def _figures(stages: Sequence[Stage], screen: Screen) -> tuple[list[StageMeasure], list[tuple[Remark, ...]]]:
    from psgmodel.output_stage.stage import measure_stage, stage_remarks

    measures, remarks = [], []
    for stage in stages:
        with progress(screen, f"measuring {stage.title[:40]}", 1.0) as bar:
            measures.append(measure_stage(stage, _teller(bar)))
            remarks.append(stage_remarks(measures[-1]))
    return measures, remarks


def _teller(bar: ProgressState) -> Callable[[str, float], None]:
    """Return what moves a bar; the last part of it is for the remarks."""

    def tell(what: str, part: float) -> None:
        bar.update(0.7 * part)

    return tell


def _file_names(paths: Sequence[str]) -> list[str]:
    """Return a name for the results of each stage: that of its file, numbered where two are alike."""
    names: list[str] = []
    for path in paths:
        stem = Path(path).stem
        names.append(stem if stem not in names else f"{stem}-{len(names) + 1}")
    return names


def _files(
    arguments: argparse.Namespace,
    measures: Sequence[StageMeasure],
    names: Sequence[str],
    results: list[dict[str, Any]],
    spectra: Sequence[HeardSpectrum],
) -> str:
    """Write picture and netlist; return what was written, in words."""
    text = ""
    if arguments.picture or not arguments.figures_only:
        from psgmodel.report.stage_picture import stage_picture

        shown = names[0] if len(names) == 1 else "stages"
        path = arguments.picture or str(make_folder("out") / f"{shown}.png")
        stage_picture(path, measures, spectra)
        text += f"\npicture  {path}\n"
        for result in results:
            result["picture"] = path
    if arguments.netlist:
        text += _write_netlist(arguments.netlist, measures[0].stage)
        results[0]["netlist"] = arguments.netlist
    return text


def _write_netlist(path: str, stage: Stage) -> str:
    from psgmodel.output import write_text_whole
    from psgmodel.output_stage.networks import netlist_transient
    from psgmodel.output_stage.stage.measuring import play_tone

    played = play_tone(stage)
    part = played.drive.steps.cut(played.plan.start, played.plan.start + round(stage.clock / 1000))
    drive = type(played.drive)(part, stage.clock, played.drive.volts_per_level, played.drive.volts_at_zero)
    shortest = float(drive.seconds().min())
    data = f"{Path(path).stem}.dat"
    text = netlist_transient(stage.network, drive, edge=min(1e-9, shortest / 4), step=2e-8, data=data)
    write_text_whole(path, text)
    return f"netlist  {path}  (ngspice -b {Path(path).name} writes {data}; the first millisecond of the record)\n"
