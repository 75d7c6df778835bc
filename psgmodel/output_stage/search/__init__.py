"""search: from goals to output stages. A file of goals in; stages that meet them, ranked, with tolerances, out.

Read: `load_goals`, `parse_goals`. Search: `search`. Write what was found: `stage_toml`.
"""

from psgmodel.output_stage.search.pareto import pareto_front
from psgmodel.output_stage.search.reader import load_goals, parse_goals
from psgmodel.output_stage.search.records import Drawer, Goals, ModulatorWord, Tolerances, Topology
from psgmodel.output_stage.search.searching import Search, search
from psgmodel.output_stage.search.simulating import Simulated
from psgmodel.output_stage.search.tolerance import Range, Strayed, strayed
from psgmodel.output_stage.search.writer import stage_toml

__all__ = [
    "Drawer",
    "Goals",
    "ModulatorWord",
    "Range",
    "Search",
    "Simulated",
    "Strayed",
    "Tolerances",
    "Topology",
    "load_goals",
    "pareto_front",
    "parse_goals",
    "search",
    "stage_toml",
    "strayed",
]
