"""Pictures of a comparison: from two signals to two spectrograms and a file.

Stage: cli. In: a comparison and what it was made of. Out: a picture file. The model is run once more, since a verdict
does not keep its signals.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from psgmodel.errors import AudioError
from psgmodel.units import cycles_to_seconds

if TYPE_CHECKING:
    from psgmodel.audio.spectra import Spectrogram
    from psgmodel.chip import Chip
    from psgmodel.comparison import Comparison
    from psgmodel.dump.observe import Observation
    from psgmodel.engine import Trace
    from psgmodel.reglog import RegisterLog
    from psgmodel.steps import Steps

_RATE = 48_000


def draw_comparison(
    path: str, name: str, comparison: Comparison, observation: Observation, chip: Chip, log: RegisterLog | None
) -> None:
    """Draw one signal of both sides.

    Raises
    ------
    AudioError
        The stretch is too short for a spectrum.
    """
    from psgmodel.comparison.exact import aligned
    from psgmodel.dump.observe import Kind
    from psgmodel.report.comparison import verdict_line, verdict_word
    from psgmodel.report.comparison_picture import comparison_picture

    observed = next(s for s in observation.signals if s.name == name and s.kind is not Kind.PIN)
    model, dump = aligned(_model(observation, chip, log)[name], observed, comparison.latency)
    exact = comparison[name].exact
    at = exact.divergence if exact is not None else None
    comparison_picture(
        path,
        _spectrogram(model, chip, name),
        _spectrogram(dump, chip, name),
        title=f"{chip.unit.name}, {name}",
        verdict=f"{verdict_word(comparison).lower()}: {verdict_line(comparison)}",
        start_s=float(cycles_to_seconds(model.start, chip.clock_hz)),
        first_difference_s=None if at is None else at.seconds,
    )


def _model(observation: Observation, chip: Chip, log: RegisterLog | None) -> Trace:
    """Run the unit as far as the dump goes, on the writes of its bus where it has one."""
    import numpy as np

    from psgmodel.engine import run
    from psgmodel.reglog import RegisterLog

    followed = observation.log if observation.log is not None else log
    assert followed is not None  # without either nothing was compared
    owned = [a for a in np.unique(followed.address).tolist() if a in chip.registers or chip.memory_at(a) is not None]
    keep = np.isin(followed.address, np.array(owned, dtype=np.int64))
    usable = RegisterLog(followed.cycle[keep], followed.address[keep], followed.value[keep], followed.end)
    return run(chip, usable.with_end(observation.end))


def _spectrogram(steps: Steps, chip: Chip, name: str) -> Spectrogram:
    from psgmodel.audio.columns import ColumnsState
    from psgmodel.audio.render import render_blocks
    from psgmodel.audio.traces import full_scale_level

    first = int(steps.unknown_mask().argmin()) if len(steps) else 0
    columns = ColumnsState(_RATE, int((steps.end - steps.start) * _RATE / chip.clock_hz))
    for block in render_blocks(
        [[steps]],
        chip.clock_hz,
        _RATE,
        full_scale=full_scale_level(chip, name),
        start_level=int(steps.level[first]) if len(steps) else None,
        unknown="last",
    ):
        columns.add(block)
    try:
        return columns.finish()[0]
    except AudioError as error:
        raise AudioError(f"no picture: {error.problems[0].message}") from error
