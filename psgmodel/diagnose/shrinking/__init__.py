"""shrinking: the simplest log that still fails. A failing log and a way to run it in; a minimal log out.

`order` says what simpler means, `passes` propose, `judging` remembers what was run, `ddmin` and `search` look,
`record` keeps the runs for a search that is resumed, `simulator` runs the designer's own command.
"""

from psgmodel.diagnose.shrinking.ddmin import ddmin
from psgmodel.diagnose.shrinking.judging import Outcome, Predicate, ShrinkError, Verdict, name_of
from psgmodel.diagnose.shrinking.order import complexity, is_simpler
from psgmodel.diagnose.shrinking.record import RecordState, load_record
from psgmodel.diagnose.shrinking.search import ShrinkResult, shrink
from psgmodel.diagnose.shrinking.simulator import Failure, SimulatorState, first_failure, parse_command

__all__ = [
    "Failure",
    "Outcome",
    "Predicate",
    "RecordState",
    "ShrinkError",
    "ShrinkResult",
    "SimulatorState",
    "Verdict",
    "complexity",
    "ddmin",
    "first_failure",
    "is_simpler",
    "load_record",
    "name_of",
    "parse_command",
    "shrink",
]
