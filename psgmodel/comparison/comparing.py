"""Comparing: from a chip (or a trace) and a dump to the verdict.

Stage: compare, the front door. In: what the unit should do, what a dump says it did. Out: a `Comparison`.

1. The dump is read once (`psgmodel.dump.observe`), its register log recovered from the bus.
2. A register log that was given is first compared with the bus; the model then follows the bus, which is what the
   unit was told. Without a bus the model follows the log.
3. The latency is the declared one, 0 where none is. With "auto" it is estimated over all signals together, allowed, and
   noted. Where a comparison fails, the constant latency with which it would not is told.
4. Every signal is compared to the cycle (pins and recordings cannot be) and as audio; the judge says which decides.
"""

from __future__ import annotations

from typing import cast

from psgmodel.chip.records import Chip
from psgmodel.comparison.options import SpectralOptions
from psgmodel.comparison.pieces import compare_in_pieces, is_large
from psgmodel.comparison.recorded import is_recording, observe_recording
from psgmodel.comparison.verdict import Comparison, Judge
from psgmodel.comparison.whole import Latency, compare_whole
from psgmodel.dump.observe import Observation, observe
from psgmodel.dump.signal_map import SignalMap
from psgmodel.dump.source import DumpSource
from psgmodel.engine.trace import Trace
from psgmodel.errors import CompareError
from psgmodel.reglog.log import RegisterLog
from psgmodel.steps import MAX_CYCLE


def compare(
    model: Trace | Chip,
    dump: DumpSource | Observation,
    *,
    log: RegisterLog | None = None,
    signal_map: SignalMap | None = None,
    judge: Judge = "exact",
    latency: Latency = 0,
    whole: bool = False,
    options: SpectralOptions | None = None,
) -> Comparison:
    """Compare what a unit should do with what a dump says it did.

    Parameters
    ----------
    model : Trace or Chip
        A chip is run on the register log. A trace is compared as it is.
    dump : path, str, binary stream or Observation
        A path that ends in .wav or .flac is a recording with one channel for each output; `log` says what it plays.
    log : RegisterLog, optional
        What the bench was given. None: the log is recovered from the bus in the dump.
    signal_map : SignalMap, optional
        As read by `load_map`; what it leaves out is guessed from names. Not with an `Observation`, which has its own.
    judge : "exact" or "spectrum"
        What decides for channels and output codes. Pins and recordings are always judged by the spectrum.
    latency : int or "auto", clock cycles
        How late the dump is; "auto" estimates it from -64 to 4096.
    whole : bool
        True: a dump that covers less than the whole log differs.
    options : SpectralOptions, optional

    Returns
    -------
    Comparison

    Raises
    ------
    DumpError
        The dump cannot be read or is cut.
    MapError
        A signal that is needed can neither be found nor guessed.
    RegisterLogError
        The log does not fit the chip.
    AudioError
        A recording cannot be read.
    CompareError
        An option that cannot be used, or neither a log nor a bus.
    """
    chip, options = model.chip if isinstance(model, Trace) else model, options or SpectralOptions()
    if judge not in ("exact", "spectrum"):
        raise CompareError(f'judge "{judge}", accepted: exact, spectrum')
    if latency != "auto" and not -MAX_CYCLE < latency < MAX_CYCLE:
        raise CompareError(f"latency {latency} is no number of cycles")
    if is_recording(dump):
        if signal_map is not None:
            raise CompareError("a recording has no signals to map", hint="name it in the map, and give a dump")
        dump = observe_recording(cast(str, dump), chip)
    if isinstance(model, Chip) and judge == "exact" and latency == 0 and is_large(dump):
        source = cast(DumpSource, dump)
        found = compare_in_pieces(model, source, log=log, signal_map=signal_map, whole=whole, options=options)
        if found is not None:
            return found.comparison
    if not isinstance(dump, Observation):
        need_bus = log is None and not isinstance(model, Trace)
        dump = observe(dump, chip, signal_map, need_bus=need_bus)
    elif signal_map is not None:
        raise CompareError("an observation has its own signal map", hint="give the map when observing the dump")
    return compare_whole(chip, model, dump, log, judge, latency, whole, options)
