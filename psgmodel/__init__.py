"""psgmodel: executable specification, comparison and output-stage bench for sound units written in RTL.

This module is a table of contents: the names that a script needs, grouped by stage, each loaded at its first use::

    import psgmodel as pm

    chip = pm.load_chip("linnet.toml")
    log = pm.load_log("jingle.csv")
    trace = pm.run(chip, log)
    trace["noise"]                                   # Steps: cycle, level, end
    pm.write_audio("jingle.wav", pm.render(trace, 48_000), 48_000)
    verdict = pm.compare(trace, "jingle.vcd.gz", signal_map=pm.load_map("linnet-bench.toml", chip))
    print(verdict.status, *verdict.reasons(), sep="\n")

Everything that goes wrong on purpose is a `PsgmodelError`.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from psgmodel.audio.files import ReadAudio as ReadAudio
    from psgmodel.audio.files import WrittenAudio as WrittenAudio
    from psgmodel.audio.files import read_audio as read_audio
    from psgmodel.audio.files import write_audio as write_audio
    from psgmodel.audio.playback import play as play
    from psgmodel.audio.render import render_steps as render_steps
    from psgmodel.audio.traces import render_trace as render
    from psgmodel.chip import Chip as Chip
    from psgmodel.chip import load_chip as load_chip
    from psgmodel.chip import parse_chip as parse_chip
    from psgmodel.comparison import Comparison as Comparison
    from psgmodel.comparison import SpectralOptions as SpectralOptions
    from psgmodel.comparison import Status as Status
    from psgmodel.comparison import compare as compare
    from psgmodel.coverage import Coverage as Coverage
    from psgmodel.coverage import cover as cover
    from psgmodel.dump.observe import Observation as Observation
    from psgmodel.dump.observe import observe as observe
    from psgmodel.dump.signal_map import SignalMap as SignalMap
    from psgmodel.dump.signal_map import load_map as load_map
    from psgmodel.engine import Trace as Trace
    from psgmodel.engine import run as run
    from psgmodel.engine import run_pieces as run_pieces
    from psgmodel.errors import PsgmodelError as PsgmodelError
    from psgmodel.reglog import RegisterLog as RegisterLog
    from psgmodel.reglog import load_log as load_log
    from psgmodel.reglog import make_log as make_log
    from psgmodel.reglog import parse_log as parse_log
    from psgmodel.reglog import save_log as save_log
    from psgmodel.steps import Steps as Steps
    from psgmodel.steps import steps_from_changes as steps_from_changes

__version__ = "0.1.0"

_CONTENTS: dict[str, tuple[str, str]] = {
    # the ground floor
    "PsgmodelError": ("errors", "PsgmodelError"),
    "Steps": ("steps", "Steps"),
    "steps_from_changes": ("steps", "steps_from_changes"),
    # chip: what the sound unit is
    "Chip": ("chip", "Chip"),
    "load_chip": ("chip", "load_chip"),
    "parse_chip": ("chip", "parse_chip"),
    # reglog: what software wrote to it
    "RegisterLog": ("reglog", "RegisterLog"),
    "load_log": ("reglog", "load_log"),
    "make_log": ("reglog", "make_log"),
    "parse_log": ("reglog", "parse_log"),
    "save_log": ("reglog", "save_log"),
    # engine: what the unit does
    "Trace": ("engine", "Trace"),
    "run": ("engine", "run"),
    "run_pieces": ("engine", "run_pieces"),
    # audio: what it sounds like
    "render": ("audio.traces", "render_trace"),
    "render_steps": ("audio.render", "render_steps"),
    "ReadAudio": ("audio.files", "ReadAudio"),
    "WrittenAudio": ("audio.files", "WrittenAudio"),
    "read_audio": ("audio.files", "read_audio"),
    "write_audio": ("audio.files", "write_audio"),
    "play": ("audio.playback", "play"),
    # dump: what the RTL did
    "Observation": ("dump.observe", "Observation"),
    "SignalMap": ("dump.signal_map", "SignalMap"),
    "load_map": ("dump.signal_map", "load_map"),
    "observe": ("dump.observe", "observe"),
    # comparison: where the two agree
    "Comparison": ("comparison", "Comparison"),
    "SpectralOptions": ("comparison", "SpectralOptions"),
    "Status": ("comparison", "Status"),
    "compare": ("comparison", "compare"),
    # coverage: which behaviours logs show
    "Coverage": ("coverage", "Coverage"),
    "cover": ("coverage", "cover"),
}

__all__ = [
    "Chip",
    "Comparison",
    "Coverage",
    "Observation",
    "PsgmodelError",
    "ReadAudio",
    "RegisterLog",
    "SignalMap",
    "SpectralOptions",
    "Status",
    "Steps",
    "Trace",
    "WrittenAudio",
    "__version__",
    "compare",
    "cover",
    "load_chip",
    "load_log",
    "load_map",
    "make_log",
    "observe",
    "parse_chip",
    "parse_log",
    "play",
    "read_audio",
    "render",
    "render_steps",
    "run",
    "run_pieces",
    "save_log",
    "steps_from_changes",
    "write_audio",
]


def __getattr__(name: str) -> Any:
    """Load a name of the table of contents at its first use."""
    if name not in _CONTENTS:
        raise AttributeError(f"module 'psgmodel' has no attribute {name!r}")
    module, attribute = _CONTENTS[name]
    value = getattr(import_module(f"psgmodel.{module}"), attribute)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    """List the table of contents."""
    return sorted({*globals(), *_CONTENTS})
