"""Directed, the sweep: what makes a frequency sweep do what it can.

Stage: stimulus. In: the notes of a channel. Out: behaviours, played; the keys of the table are names of bins.
"""

from __future__ import annotations

from psgmodel.stimulus.directed_envelope import still
from psgmodel.stimulus.directed_timer import between, changed, strobed
from psgmodel.stimulus.notes import Notes, Play


def _edge_period(n: Notes) -> None:
    """Play a sweep step to the first or the last period."""
    pairs = n.reach.sweeps()
    found = [(d, s, p) for d, s in pairs if (p := n.reach.edge_period(d, s)) is not None]
    falling, shift, period = n.chance.among(found)
    n.hear(sweep_period=1, sweep_shift=shift, sweep_falling=falling, period=period)
    n.block_ticks("sweep", 2)


def _glide(falling: int) -> Play:
    def play(n: Notes) -> None:
        n.hear(sweep_period=1, sweep_shift=2, sweep_falling=falling)
        n.block_ticks("sweep", 2)
        n.settle()

    return play


def _over(n: Notes) -> dict[str, int]:
    """Return the fields of a sweep whose next step does not fit, though the start is not kept from sounding."""
    assert n.channel.sweep is not None
    size = 1 << n.reach.fields["period"].bits
    rising = 0 in n.reach.values("sweep.falling")
    constant = n.channel.sweep.moves_by == "constant"
    return {
        "period": size - 1 if rising else 0,
        "sweep_falling": 0 if rising else 1,
        "sweep_shift": _over_shift(n, constant),
        "sweep_period": 1,
    }


def _over_shift(n: Notes, constant: bool) -> int:
    """Return a shift with which a step from the last period does not fit: not 0, where there is another."""
    values = n.reach.values("sweep.shift")
    return values[-1] if constant else values[min(1, len(values) - 1)]


def _overflow(kind: str = "") -> Play:
    def play(n: Notes) -> None:
        fields = _over(n)
        sweep = n.channel.sweep
        assert sweep is not None
        checked = sweep.check != "at-step"
        if checked and n.restarts("sweep.shift", "sweep"):
            ahead = sweep.check == "after-step-too" and sweep.works_on == "shadow" and sweep.start_and_tick == "tick"
            (_overflow_from_copy if ahead else _overflow_next)(n)
        elif checked:  # a start with shift 0 is not looked at; the shift is set once it sounds
            n.hear(**fields | {"sweep_shift": 0})
            n.change(sweep_shift=fields["sweep_shift"])
        else:
            n.hear(**fields)
        if kind:
            n.strobe_at(kind, lambda: n.due("sweep"))
        else:
            n.block_ticks("sweep", 2)
        n.settle()

    return play


def _overflow_next(n: Notes) -> None:
    """Play a note whose first sweep step fits, and whose second one does not, up to the first."""
    for falling, shift in n.reach.sweeps():
        periods = n.reach.changed_by(falling, shift)
        fitting = set(periods.tolist())
        starts, ends = n.reach.steps_by(falling, shift)
        found = [p for p, to in zip(starts.tolist(), ends.tolist(), strict=True) if p in fitting and to not in fitting]
        if found:
            n.hear(sweep_period=1, sweep_shift=shift, sweep_falling=falling, period=n.chance.among(found))
            n.block_ticks("sweep", 1)
            return


def _overflow_from_copy(n: Notes) -> None:
    """Play a note whose copy of the period is near the end; a start that meets a tick leaves it, and brings a period
    and a shift by which only the copy goes past the end."""
    assert n.channel.sweep is not None
    values, constant = n.reach.values("sweep.shift"), n.channel.sweep.moves_by == "constant"
    little, much = (min(1, values[-1]), values[-1]) if constant else (values[-1], min(1, values[-1]))
    last = (1 << n.reach.fields["period"].bits) - 1
    n.hear(sweep_period=1, sweep_shift=little, sweep_falling=0, period=last - 9)
    n.change_at(n.when("sweep", "tick"), {"period": 99, "sweep.shift": much})


def _overflow_at_start(shift: bool) -> Play:
    def play(n: Notes) -> None:
        n.hear()
        n.play_on(100)
        fields = _over(n)
        n.hear(**fields | {"sweep_shift": max(fields["sweep_shift"], 1) if shift else 0})
        n.settle()
        n.hear(**fields | {"sweep_shift": max(fields["sweep_shift"], 1) if shift else 0})

    return play


def _overflow_ahead(n: Notes) -> None:
    assert n.channel.sweep is not None
    size, shift = 1 << n.reach.fields["period"].bits, 1
    period = size * 5 // 9 if n.channel.sweep.moves_by == "fraction" else size - 3
    n.hear(sweep_period=1, sweep_shift=0, sweep_falling=0, period=period)
    n.change(sweep_shift=shift if n.channel.sweep.moves_by == "fraction" else 2)
    n.block_ticks("sweep", 2)


def _turned(fallen: bool) -> Play:
    def play(n: Notes) -> None:
        n.hear(sweep_period=1 if fallen else 0, sweep_shift=2, sweep_falling=1)
        n.block_ticks("sweep", 1 if n.reach.once else 2)
        n.change(sweep_falling=0)
        n.settle()

    return play


def _parted(n: Notes) -> None:
    n.hear(sweep_period=1, sweep_shift=3, sweep_falling=1)
    n.change(period=n.another("period"))
    n.block_ticks("sweep", 2)
    n.settle()


def play_register_at_sweep(n: Notes, register: str) -> None:
    """Write a register of the period where a sweep step changes the period."""
    n.hear(sweep_period=1, sweep_shift=1, sweep_falling=1)
    for index, s in enumerate(n.reach.fields["period"].segments):
        if n.chip.registers[s.address].name == register:
            n.change_at(lambda: n.due("sweep"), {"period": n.another("period", segment=index)})
    n.settle("sweep")


_GLIDING = {"sweep_period": 1, "sweep_shift": 2, "sweep_falling": 1}
SWEEP: dict[str, Play] = {
    "sweep.up": _glide(0),
    "sweep.down": _glide(1),
    "sweep.overflow": _overflow(),
    "sweep.just-fits": _edge_period,
    "sweep.overflow-at-start": _overflow_at_start(True),
    "sweep.overflow-waits": _overflow(),
    "sweep.unchecked-at-start": _overflow_at_start(False),
    "sweep.overflow-ahead": _overflow_ahead,
    "sweep.still": still,
    "sweep.tick-at-start-sounding": strobed("start", "sweep", "tick", **_GLIDING | {"sweep_period": 2}),
    "sweep.tick-at-start-idle": strobed("start", "sweep", "tick", "idle", **_GLIDING | {"sweep_period": 2}),
    "sweep.tick-at-start-one": strobed("start", "sweep", "tick", **_GLIDING),
    "sweep.step-at-start": strobed("start", "sweep", **_GLIDING),
    "sweep.step-at-stop": strobed("stop", "sweep", **_GLIDING),
    "sweep.overflow-at-start-edge": _overflow("start"),
    "sweep.overflow-at-stop-edge": _overflow("stop"),
    "sweep.shift-at-step": changed("sweep.shift", None, "sweep", **_GLIDING),
    "sweep.direction-at-step": changed("sweep.falling", 0, "sweep", **_GLIDING),
    "sweep.period-at-step": changed("sweep.period", None, "sweep", **_GLIDING),
    "sweep.shift-in-note": between("sweep.shift", None, **_GLIDING),
    "sweep.direction-in-note": between("sweep.falling", 0, **_GLIDING),
    "sweep.period-in-note": between("sweep.period", None, **_GLIDING),
    "sweep.let-go-at-tick": changed("sweep.period", 1, "sweep", "tick", **_GLIDING | {"sweep_period": 0}),
    "sweep.turned-fallen": _turned(True),
    "sweep.turned-fresh": _turned(False),
    "sweep.after-write": _parted,
}
