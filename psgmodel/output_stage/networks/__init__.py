"""networks: what stands between pin and load. A description in; responses, exact runs, currents and netlists out.

Heavy parts of scipy load inside the functions that need them.
"""

# Describe
from psgmodel.output_stage.networks.checks import check_network

# Design
from psgmodel.output_stage.networks.design import (
    Lc,
    LoopTerms,
    MultipleFeedback,
    RcRc,
    SallenKey,
    capacitance_for_corner,
    coupling_capacitance,
    ladder_sections,
    lc_butterworth,
    multiple_feedback,
    multiple_feedback_terms,
    rc_corner,
    rc_rc_corner,
    rc_rc_for_corner,
    rc_rc_terms,
    resistance_for_corner,
    sallen_key_equal_resistors,
    sallen_key_for_capacitors,
    sallen_key_terms,
)

# Solve in time
from psgmodel.output_stage.networks.drive import Drive, two_level_drive
from psgmodel.output_stage.networks.flow_split import flow_of
from psgmodel.output_stage.networks.ladder import (
    ActiveForm,
    ActiveSection,
    Ladder,
    OpAmpModel,
    Position,
    Section,
    compile_ladder,
    series,
    shunt,
    with_load,
)
from psgmodel.output_stage.networks.notes import NetworkNote, NoteKind, network_notes
from psgmodel.output_stage.networks.peaks import Extremes
from psgmodel.output_stage.networks.power import Burden, burdens, part_burden, pin_burden
from psgmodel.output_stage.networks.prototypes import (
    PoleSection,
    bessel_sections,
    butterworth_attenuation,
    butterworth_doubly_terminated,
    butterworth_sections,
    butterworth_singly_terminated,
    overshoot,
)
from psgmodel.output_stage.networks.reader import network_from_table, parse_network, read_network
from psgmodel.output_stage.networks.records import GROUND, Element, Network, OpAmp, PartKind, Reference

# Solve in frequency
from psgmodel.output_stage.networks.response import FrequencyResponse, dc_transfer, frequency_response, transfer
from psgmodel.output_stage.networks.ripple import (
    rc_ripple,
    rc_ripple_small,
    settling_time,
    time_constant_for_ripple,
)
from psgmodel.output_stage.networks.run import AnalogRun, run_from, run_periodic
from psgmodel.output_stage.networks.sampling import Sampled, SampleKind, sampled
from psgmodel.output_stage.networks.screen import Screened, screen_ladder, screen_network

# Hand on
from psgmodel.output_stage.networks.spice import netlist_ac, netlist_transient
from psgmodel.output_stage.networks.states import Probe, StateSpace, state_space

__all__ = [
    "GROUND",
    "ActiveForm",
    "ActiveSection",
    "AnalogRun",
    "Burden",
    "Drive",
    "Element",
    "Extremes",
    "FrequencyResponse",
    "Ladder",
    "Lc",
    "LoopTerms",
    "MultipleFeedback",
    "Network",
    "NetworkNote",
    "NoteKind",
    "OpAmp",
    "OpAmpModel",
    "PartKind",
    "PoleSection",
    "Position",
    "Probe",
    "RcRc",
    "Reference",
    "SallenKey",
    "SampleKind",
    "Sampled",
    "Screened",
    "Section",
    "StateSpace",
    "bessel_sections",
    "burdens",
    "butterworth_attenuation",
    "butterworth_doubly_terminated",
    "butterworth_sections",
    "butterworth_singly_terminated",
    "capacitance_for_corner",
    "check_network",
    "compile_ladder",
    "coupling_capacitance",
    "dc_transfer",
    "flow_of",
    "frequency_response",
    "ladder_sections",
    "lc_butterworth",
    "multiple_feedback",
    "multiple_feedback_terms",
    "netlist_ac",
    "netlist_transient",
    "network_from_table",
    "network_notes",
    "overshoot",
    "parse_network",
    "part_burden",
    "pin_burden",
    "rc_corner",
    "rc_rc_corner",
    "rc_rc_for_corner",
    "rc_rc_terms",
    "rc_ripple",
    "rc_ripple_small",
    "read_network",
    "resistance_for_corner",
    "run_from",
    "run_periodic",
    "sallen_key_equal_resistors",
    "sallen_key_for_capacitors",
    "sallen_key_terms",
    "sampled",
    "screen_ladder",
    "screen_network",
    "series",
    "settling_time",
    "shunt",
    "state_space",
    "time_constant_for_ripple",
    "transfer",
    "two_level_drive",
    "with_load",
]
