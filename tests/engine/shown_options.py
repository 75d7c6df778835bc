"""Shown: each option of the description language, its default, and the tests that show what it does.

Written by hand. A test is named by its module beside this file and its function.
"""

from __future__ import annotations

TIME, BUS, REGISTERS = "test_language_time.", "test_language_bus.", "test_language_registers."
EXTRAS, GATES = "test_language_extras.", "test_language_gates."
POWER, LEVELS, BLOCKS = "test_language_power.", "test_language_levels.", "test_language_blocks."
STEP, BLOCK = "test_step_options_by_hand.", "test_block_options_by_hand."
REQUIRED = "required"
Row = tuple[str, ...]
"""Default, tests."""


def _under(record: str, rows: dict[str, Row]) -> dict[str, Row]:
    return {f"{record}.{option}": row for option, row in rows.items()}


_UNIT = {
    "name": (
        REQUIRED,
        LEVELS + "test_a_unit_has_a_name_and_an_exact_clock_rate_and_neither_changes_what_happens_in_cycles",
    ),
    "clock_hz": (
        REQUIRED,
        LEVELS + "test_a_unit_has_a_name_and_an_exact_clock_rate_and_neither_changes_what_happens_in_cycles",
    ),
    "outputs": (REQUIRED, LEVELS + "test_a_unit_has_one_or_two_outputs_each_with_a_route_for_each_channel"),
}
_INDEX = BUS + "test_bits_above_the_width_of_an_index_are_lost"
_BUS = {
    "data_bits": ("8", BUS + "test_data_are_as_wide_as_the_bus", BUS + "test_a_value_wider_than_the_bus_is_refused"),
    "address_bits": (
        "8",
        BUS + "test_without_a_word_about_it_a_bus_has_8_data_bits_and_8_address_bits",
        BUS + "test_a_wider_bus_has_more_addresses",
    ),
    "access": ('"direct"', BUS + "test_the_bus_carries_addresses_or_an_index_and_data"),
    "index_address": ("0", BUS + "test_ports_stand_where_the_description_puts_them"),
    "data_address": ("1", BUS + "test_ports_stand_where_the_description_puts_them"),
    "index_bits": ("8", _INDEX),
    "index_step": (
        "0",
        BUS + "test_data_moves_the_index_on_afterwards",
        BUS + "test_an_index_moved_past_its_end_begins_again",
    ),
    "write_latency": (
        "0",
        STEP + "test_writes_and_strobes_arrive_later_by_latency_and_delay",
        BUS + "test_an_index_is_0_after_reset_and_changes_as_late_as_a_register",
        BUS + "test_a_sample_changes_as_late_as_a_register",
    ),
    "read_latency": ("1", BUS + "test_the_value_of_a_read_stands_on_the_bus_at_once_or_an_edge_later"),
    "unowned_reads": ("0", REGISTERS + "test_an_address_of_nobody_reads_what_the_bus_gives"),
}
_SEQUENCER = {
    "every": (REQUIRED, TIME + "test_a_sequencer_walks_through_its_steps_and_ticks_at_those_named"),
    "first": (REQUIRED, TIME + "test_a_sequencer_walks_through_its_steps_and_ticks_at_those_named"),
    "steps": (REQUIRED, TIME + "test_a_sequencer_walks_through_its_steps_and_ticks_at_those_named"),
    "at_restart": ('"silent"', TIME + "test_what_a_restart_makes_of_a_sequencer"),
    "after_restart": ("every", TIME + "test_what_a_restart_makes_of_a_sequencer"),
}
_TICK_SOURCE = {
    "every": ("none", TIME + "test_a_tick_comes_first_at_its_first_edge_and_then_every_so_many_cycles"),
    "first": ("every - 1", TIME + "test_a_tick_comes_first_at_its_first_edge_and_then_every_so_many_cycles"),
    "at_restart": ('"silent"', TIME + "test_what_a_restart_makes_of_a_tick"),
    "after_restart": ("every", TIME + "test_what_a_restart_makes_of_a_tick"),
    "sequencer": ('""', TIME + "test_ticks_of_one_sequencer_meet_only_where_they_share_a_step"),
    "at": ("[]", TIME + "test_a_sequencer_walks_through_its_steps_and_ticks_at_those_named"),
}
_POWER = {"memory": ('"keeps"', POWER + "test_whether_the_wave_memory_is_cleared_too")}
_CHANNEL = {
    "kind": (
        REQUIRED,
        LEVELS + "test_levels_of_noise",
        REGISTERS + "test_a_memory_stands_at_its_address_and_belongs_to_its_channel",
        TIME + "test_without_a_prescaler_a_step_counts_every_cycle",
    ),
    "volume_bits": (REQUIRED, LEVELS + "test_volumes_and_envelope_levels_are_as_wide_as_is_said"),
    "patterns": ("[]", STEP + "test_patterns_are_chosen_by_their_field"),
    "register": ("none", STEP + "test_shifts_of_a_small_register"),
    "table": ("none", STEP + "test_when_samples_are_fetched"),
    "start_delay": (
        "0",
        LEVELS + "test_starts_and_stops_act_later_by_their_delay",
        STEP + "test_a_start_without_delay_sees_what_its_own_edge_writes",
    ),
    "position_on_start": (
        '"reset"',
        STEP + "test_what_a_start_does_to_step_and_position",
        LEVELS + "test_a_start_that_keeps_the_position_does_not_go_to_the_start_position",
    ),
    "levels": (
        '"unipolar"',
        LEVELS + "test_levels_of_a_pattern",
        LEVELS + "test_levels_of_noise",
        LEVELS + "test_levels_of_a_wave_table",
    ),
    "idle_level": (
        "0",
        LEVELS + "test_levels_of_a_pattern",
        LEVELS + "test_the_level_of_an_idle_channel_goes_into_the_sum",
    ),
    "volume_table": (
        "[]",
        LEVELS + "test_a_table_of_loudness_takes_the_place_of_volumes_and_of_envelope_levels",
        LEVELS + "test_levels_of_a_wave_table",
    ),
    "timer": ("none", BLOCKS + "test_without_a_timer_notes_last_until_stopped"),
    "envelope": ("none", BLOCKS + "test_without_a_sweep_the_period_stays_and_without_an_envelope_the_volume"),
    "sweep": ("none", BLOCKS + "test_without_a_sweep_the_period_stays_and_without_an_envelope_the_volume"),
}
_CHANNEL["gate"] = ("false", GATES + "test_a_gate_starts_where_it_opens_and_stops_where_it_closes")
_CHANNEL["at_reset"] = ('"inactive"', EXTRAS + "test_a_channel_may_play_from_reset_on")
_STEP_CLOCK = {
    "bits": (REQUIRED, LEVELS + "test_a_period_is_as_wide_as_is_said"),
    "rule": ('"up-from"', STEP + "test_the_length_of_a_step"),
    "scale": ("1", STEP + "test_the_length_of_a_step"),
    "offset": ("1", STEP + "test_the_length_of_a_step"),
    "top": ("0", STEP + "test_the_length_of_a_step"),
    "clocked_by": (
        '""',
        TIME + "test_a_step_counts_the_ticks_of_its_prescaler",
        TIME + "test_without_a_prescaler_a_step_counts_every_cycle",
    ),
    "new_value": ('"next-step"', STEP + "test_when_a_new_period_counts"),
    "on_start": ('"reload"', STEP + "test_what_a_start_does_to_step_and_position"),
    "write_and_step": ('"old"', STEP + "test_which_fields_a_step_sees_at_the_edge_of_a_write"),
}
_NOISE = TIME + "test_when_a_new_divisor_counts_and_what_a_start_does_to_the_count"
_NOISE_CLOCK = {
    "divisors": (REQUIRED, STEP + "test_a_noise_step_is_a_divisor_shifted_left"),
    "shift_bits": ("0", STEP + "test_a_noise_step_is_a_divisor_shifted_left"),
    "stopped": (
        "[]",
        STEP + "test_a_stopped_code_halts_a_down_counter_too",
        TIME + "test_a_clock_stopped_at_the_edge_of_a_step_still_shifts_or_no_longer",
    ),
    "clocked_by": ('""', TIME + "test_a_noise_step_counts_cycles_or_the_ticks_of_its_prescaler"),
    "new_value": ('"next-step"', _NOISE),
    "on_start": ('"reload"', _NOISE),
    "write_and_step": (
        '"old"',
        _NOISE,
        TIME + "test_a_shift_at_the_edge_of_a_write_goes_by_the_short_bit_from_before",
    ),
}
_SHIFTS, _SHORT = STEP + "test_shifts_of_a_small_register", STEP + "test_short_mode_inserts_the_bit_at_more_positions"
_SHIFT_REGISTER = {
    "bits": (REQUIRED, _SHIFTS),
    "taps": (REQUIRED, _SHIFTS),
    "output": (REQUIRED, _SHIFTS),
    "feedback": ('"xor"', _SHIFTS),
    "shift": ('"left"', _SHIFTS),
    "polarity": ('"high"', _SHIFTS, LEVELS + "test_levels_of_noise"),
    "seed": ("-1", _SHIFTS),
    "on_start": ('"keep"', STEP + "test_what_a_start_does_to_the_register"),
    "short": ("none", _SHORT),
}
_SHORT_MODE = {"taps": (REQUIRED, _SHORT), "output": (REQUIRED, _SHORT), "insert": ("[]", _SHORT)}
_WAVE_TABLE = {
    "samples": (REQUIRED, LEVELS + "test_where_a_wave_begins_and_ends"),
    "bits": (
        REQUIRED,
        REGISTERS + "test_one_sample_at_an_address_and_no_more_bits_than_it_has",
    ),
    "per_address": (
        "1",
        REGISTERS + "test_samples_are_packed_side_by_side",
        LEVELS + "test_a_write_that_is_redirected_goes_to_all_samples_of_the_address_that_sounds",
    ),
    "order": ('"low-first"', REGISTERS + "test_samples_are_packed_side_by_side"),
    "start_position": ("0", LEVELS + "test_where_a_wave_begins_and_ends"),
    "while_playing": ('"taken"', LEVELS + "test_writes_to_the_memory_of_a_playing_channel"),
    "reads": ('"memory"', REGISTERS + "test_what_a_read_of_a_memory_returns"),
    "fetch": (
        '"each-step"',
        STEP + "test_when_samples_are_fetched",
        LEVELS + "test_a_step_fetches_from_the_memory_as_it_was_before_its_edge",
    ),
    "first_sample": ('"fresh"', STEP + "test_the_first_sample_of_a_restart"),
    "volume": ('"multiply"', LEVELS + "test_levels_of_a_wave_table"),
    "volume_shift": ("0", LEVELS + "test_levels_of_a_wave_table", STEP + "test_samples_and_volume_make_a_level"),
}
_WAVE_TABLE["after_last"] = ('"go-on"', EXTRAS + "test_a_wave_may_end_with_its_last_sample")
_TIMER_ROWS = BLOCK + "test_note_timer"
_TIMER = {
    "bits": (REQUIRED, BLOCKS + "test_a_timer_is_as_wide_as_is_said"),
    "ticks": (REQUIRED, BLOCKS + "test_each_block_counts_the_tick_that_it_names"),
    "loads": ('"field"', _TIMER_ROWS),
    "on_start": ('"always"', _TIMER_ROWS),
    "at_zero": ('"stop"', _TIMER_ROWS),
    "start_and_tick": ('"start"', BLOCK + "test_note_timer_where_start_and_tick_meet"),
    "expiry_and_start": ('"expiry"', BLOCK + "test_note_timer_that_runs_out_at_the_edge_of_a_start"),
    "write_and_tick": ('"old"', _TIMER_ROWS),
    "on_enable": ('"nothing"', BLOCKS + "test_turning_a_timer_on_may_count_as_a_tick"),
}
_FADE = BLOCK + "test_envelope"
_ENVELOPE = {
    "ticks": (REQUIRED, BLOCKS + "test_each_block_counts_the_tick_that_it_names"),
    "period_bits": (REQUIRED, BLOCKS + "test_an_envelope_period_is_as_wide_as_is_said"),
    "period_zero": ('"stop"', _FADE),
    "step": ("1", _FADE),
    "at_end": ('"hold"', _FADE),
    "at_zero": (
        '"sound"',
        BLOCKS + "test_what_happens_at_level_0",
        BLOCKS + "test_an_envelope_sounds_on_at_level_0_where_nothing_is_said",
    ),
    "volume_write": ('"next-start"', _FADE),
    "volume_and_tick": ('"write"', _FADE, BLOCKS + "test_a_volume_written_at_a_tick_that_makes_no_step"),
    "start_and_tick": ('"start"', BLOCK + "test_envelope_where_start_and_tick_meet"),
    "write_and_tick": ('"old"', _FADE),
}
_ENVELOPE["bypass"] = ("false", EXTRAS + "test_a_bypass_puts_the_volume_in_the_place_of_the_envelope")
_GLIDE = BLOCK + "test_sweep"
_SWEEP = {
    "ticks": (REQUIRED, BLOCKS + "test_each_block_counts_the_tick_that_it_names"),
    "period_bits": (REQUIRED, BLOCKS + "test_a_sweep_period_is_as_wide_as_is_said"),
    "shift_bits": (REQUIRED, BLOCKS + "test_a_sweep_shift_is_as_wide_as_is_said"),
    "period_zero": ('"stop"', _GLIDE),
    "works_on": ('"period"', BLOCKS + "test_a_step_works_on_the_period_or_on_a_copy"),
    "overflow": ('"stop"', _GLIDE, BLOCKS + "test_an_overflow_that_does_not_stop_is_not_looked_for_ahead"),
    "check": (
        '"at-step"',
        BLOCKS + "test_when_an_overflow_is_looked_for",
        BLOCKS + "test_a_start_at_the_edge_of_an_overflow",
    ),
    "subtract": ('"twos-complement"', BLOCKS + "test_what_falling_subtracts"),
    "rising_after_falling": ('"go-on"', BLOCKS + "test_turning_a_sweep_upward_after_it_fell"),
    "start_and_tick": ('"start"', BLOCK + "test_sweep_where_a_restart_and_a_tick_meet"),
    "write_and_step": ('"write"', BLOCK + "test_sweep_step_and_a_write_to_half_of_the_period"),
    "write_and_tick": ('"old"', _GLIDE),
}
_SWEEP["moves_by"] = ('"fraction"', EXTRAS + "test_a_sweep_moves_by_a_fraction_or_by_a_constant")
_CODE = LEVELS + "test_from_sum_to_code"
_MIXER = {
    "bits": (REQUIRED, _CODE),
    "offset": ("0", _CODE, LEVELS + "test_a_negative_sum_is_rounded_down"),
    "overflow": ('"saturate"', _CODE),
    "trims": ("[1]", _CODE, STEP + "test_a_trim_field_chooses_a_multiplier"),
    "trim_shift": ("0", _CODE, LEVELS + "test_a_negative_sum_is_rounded_down"),
    "table": ("[]", _CODE),
    "latency": (
        "0",
        STEP + "test_output_registers_delay_the_code",
        LEVELS + "test_output_registers_hold_0_after_reset_and_then_codes_one_after_another",
    ),
}
_MIXER["routes"] = ("[0, 1]", EXTRAS + "test_routes_are_multipliers_that_each_output_chooses_for_each_channel")
_READS = REGISTERS + "test_reads_show_the_bits_of_the_mask_and_those_that_are_always_1"
_REGISTER = {
    "name": (REQUIRED, REGISTERS + "test_a_register_holds_its_reset_value_and_only_the_bits_that_drive"),
    "address": (REQUIRED, REGISTERS + "test_a_register_holds_its_reset_value_and_only_the_bits_that_drive"),
    "reset": ("0", REGISTERS + "test_a_register_holds_its_reset_value_and_only_the_bits_that_drive"),
    "on_write": ("[]", REGISTERS + "test_any_write_to_a_register_causes_its_strobes"),
    "read_mask": ("all that drive or show", _READS),
    "read_ones": ("0", _READS),
}
_REGISTER["held_until"] = ('""', GATES + "test_a_write_is_held_until_another_register_is_written")
_FIELD = {
    "bits": (REQUIRED, REGISTERS + "test_a_field_is_joined_from_segments"),
    "drives": ('""', REGISTERS + "test_a_field_is_joined_from_segments"),
    "strobes": ('""', REGISTERS + "test_strobes_act_on_a_1_and_bits_that_show_read_what_is"),
    "shows": ('""', REGISTERS + "test_strobes_act_on_a_1_and_bits_that_show_read_what_is"),
}
_MEMORY = REGISTERS + "test_a_memory_stands_at_its_address_and_belongs_to_its_channel"
_MIRRORED = BUS + "test_mirrored_addresses_stand_for_others"

SHOWN: dict[str, Row] = {
    **_under("Unit", _UNIT),
    **_under("Bus", _BUS),
    **_under("Power", _POWER),
    **_under("Sequencer", _SEQUENCER),
    **_under("TickSource", _TICK_SOURCE),
    **_under("Channel", _CHANNEL),
    **_under("StepClock", _STEP_CLOCK),
    **_under("NoiseClock", _NOISE_CLOCK),
    **_under("ShiftRegister", _SHIFT_REGISTER),
    **_under("ShortMode", _SHORT_MODE),
    **_under("WaveTable", _WAVE_TABLE),
    **_under("Timer", _TIMER),
    **_under("Envelope", _ENVELOPE),
    **_under("Sweep", _SWEEP),
    **_under("Mixer", _MIXER),
    **_under("RegisterEntry", _REGISTER),
    **_under("FieldEntry", _FIELD),
    **_under("MemoryEntry", dict.fromkeys(("name", "channel", "address"), (REQUIRED, _MEMORY))),
    **_under("Mirror", dict.fromkeys(("address", "size", "of"), (REQUIRED, _MIRRORED))),
}
