"""How long a search takes, and measuring the shipped stages. Run by hand: ``python tests/bench/stage_search.py``.

Processor time of one run; the search is that of the shipped goals.
"""

from __future__ import annotations

import time
from pathlib import Path

from psgmodel.output_stage.search import load_goals, search
from psgmodel.output_stage.search.choosing import hopeful_count
from psgmodel.output_stage.search.searching import screen_all
from psgmodel.output_stage.stage import load_stage, measure_stage, stage_remarks

PATCHES = Path(__file__).parents[2] / "patches"
STAGES = ("stage-pwm-rc.toml", "stage-sigma-delta-rc-rc.toml", "stage-codec.toml")


def main() -> None:
    """Measure and print."""
    goals = load_goals(PATCHES / "stage-goals.toml")
    begin = time.process_time()
    screens, _ = screen_all(goals)
    hopeful = hopeful_count(screens, goals)
    screening = time.process_time() - begin
    begin = time.process_time()
    found = search(goals)
    whole = time.process_time() - begin
    count = found.screened
    print(f"screening {count:,} stages: {screening:.1f} s, {count / screening:,.0f} a second; {hopeful:,} hopeful")
    print(
        f"search of {count:,} stages, {len(found.simulated)} simulated behind {found.sides_simulated} modulators, "
        f"{len(found.found)} found with tolerances: {whole:.1f} s"
    )
    print(f"20,000 stages at that rate: {20_000 / count * screening + whole - screening:.1f} s; the limit is 60 s")
    for name in STAGES:
        begin = time.process_time()
        measure = measure_stage(load_stage(PATCHES / name))
        measured = time.process_time() - begin
        stage_remarks(measure)
        remarked = time.process_time() - begin - measured
        print(f"{name:32s} {measure.plan.end:8d} clocks: figures {measured:.2f} s, remarks {remarked:.2f} s")


if __name__ == "__main__":
    main()
