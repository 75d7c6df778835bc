"""What people get wrong is said when it is seen, with numbers, and not said when it is not there."""

from __future__ import annotations

import math
import re
from functools import cache

import pytest

from psgmodel.output_stage.stage import Remark, RemarkKind, cautions, measure_stage, parse_stage, stage_remarks
from tests.output_stage.stage_texts import HEADPHONE, LINE, NO_IDLE, c, modulator, pin, pwm, r, text

QUICK = NO_IDLE + ""
GOOD_PIN = pin('"49.152 MHz"', resistance=40, rating="8 mA")
GOOD_FILTER = r("1k") + c("6.8n") + r("1k") + r("820", "shunt") + c("6.8n") + c("4.7u", "series") + LINE
SIGMA = modulator("sigma-delta-1")


@cache
def remarks_of(words: str) -> dict[RemarkKind, Remark]:
    measure = measure_stage(parse_stage(words, "tried.toml"))
    return {remark.kind: remark for remark in stage_remarks(measure)}


def found(kind: RemarkKind, *parts: str, silence: str = "0", bits: int = 9) -> Remark:
    remarks = remarks_of(text(*parts, QUICK, silence=silence, bits=bits))
    assert kind in remarks, list(remarks)
    return remarks[kind]


def numbers(words: str) -> list[float]:
    return [float(n) for n in re.findall(r"-?\d+(?:\.\d+)?", words)]


def test_a_sound_stage_leaves_nothing_to_remark() -> None:
    assert remarks_of(text(GOOD_PIN, SIGMA, GOOD_FILTER, QUICK, silence="0")) == {}


def test_more_bits_of_a_counter_at_a_fixed_clock_are_told_to_make_it_worse_with_both_measured() -> None:
    told = found(RemarkKind.MORE_BITS_WORSE, GOOD_PIN, pwm(12), GOOD_FILTER)
    assert (
        "at a clock of 49.152 MHz every bit of the counter halves the carrier: 4096 positions give 12 kHz" in told.text
    )
    now, best = numbers(re.findall(r"SINAD of (\S+) dB", told.text)[0])[0], numbers(told.text)[-1]
    assert best > now + 20
    # And what it claims of the shorter counter is what that counter measures.
    length = int(re.findall(r"load, (\d+) positions", told.text)[0])
    shorter = measure_stage(
        parse_stage(text(GOOD_PIN, pwm(length.bit_length() - 1), GOOD_FILTER, QUICK, silence="0"), "tried.toml")
    )
    assert shorter.tone.sinad_db == pytest.approx(best, abs=0.05)
    assert told.place is not None
    assert told.place.line == 12


def test_a_counter_where_fewer_bits_are_worse_is_left_alone() -> None:
    assert RemarkKind.MORE_BITS_WORSE not in remarks_of(text(GOOD_PIN, pwm(5), GOOD_FILTER, QUICK, silence="0"))


def test_an_audible_carrier_is_told_with_what_of_it_reaches_the_load() -> None:
    told = found(RemarkKind.CARRIER_IN_BAND, GOOD_PIN, pwm(12), GOOD_FILTER)
    assert re.match(r"the carrier of 12 kHz is audible: \d+(\.\d+)? mV rms of it reach the load$", told.text)


def test_one_moving_edge_is_told_with_the_distortion_of_both() -> None:
    told = found(RemarkKind.ONE_EDGE, GOOD_PIN, pwm(9), GOOD_FILTER)
    one, both = re.findall(r"(-\d+\.\d) dB", told.text)
    assert float(both) < float(one) - 20
    assert told.hint == 'edge = "centre" with length = 256, or a faster carrier'


@pytest.mark.parametrize(
    ("filters", "hint"),
    [
        (r("1k") + c("10u"), "C1 10 nF?"),
        (r("1M") + c("10n"), "R1 1 kΩ?"),
        (r("1k") + c("10p"), "capacitors a thousand times larger?"),
    ],
)
def test_a_filter_a_thousand_times_off_is_told_with_the_value_that_was_meant(filters: str, hint: str) -> None:
    coupled = filters + c("4.7u", "series") + LINE
    remarks = remarks_of(text(GOOD_PIN, SIGMA, coupled, QUICK, silence="0"))
    assert remarks[RemarkKind.PART].hint in (hint, "C1 10 nF?")


def test_a_capacitor_of_15_farad_is_taken_for_15_microfarad() -> None:
    told = found(RemarkKind.PART, GOOD_PIN, SIGMA, r("1k"), c("10n"), c("15", "series"), LINE)
    assert told.text == "capacitor C2 is 15 F: unlikely at an audio output"
    assert told.hint == "15 µF?"
    assert told.place is not None
    assert told.place.line == 22


def test_25_kilohm_into_32_ohm_is_taken_for_25_ohm() -> None:
    told = found(RemarkKind.PART, GOOD_PIN, SIGMA, r("25k"), c("10n"), c("220u", "series"), HEADPHONE)
    assert re.match(r"at best 0\.13 % of the pin voltage \(-57\.\d dB\) reaches the load of 32 Ω", told.text)
    assert told.hint == "R1 25 Ω?"


def test_a_bare_pin_into_32_ohm_is_serious_and_told_the_resistor_that_would_do() -> None:
    told = found(RemarkKind.BARE_PIN, pin(rating="8 mA"), pwm(6), HEADPHONE)
    assert told.serious
    assert told.text.startswith("the pin drives 32 Ω by itself: the pin carries 103 mA")
    # 3.3 V / 8 mA = 412.5 ohm; the next value of E24 is 430 ohm.
    assert told.hint == "a buffer, or at least 430 Ω in series ahead of everything else"


def test_a_pin_within_its_rating_is_not_told_of_it() -> None:
    remarks = remarks_of(text(GOOD_PIN, SIGMA, GOOD_FILTER, QUICK, silence="0"))
    assert not {RemarkKind.BARE_PIN, RemarkKind.PIN_CURRENT} & set(remarks)


def test_a_pin_over_its_rating_at_power_up_is_told_so() -> None:
    told = found(RemarkKind.PIN_CURRENT, pin(resistance=40, rating="4 mA"), SIGMA, r("100"), c("100n"), LINE)
    assert "23.6 mA at power-up" in told.text  # 3.3 V / 140 ohm
    assert "its rating is 4 mA" in told.text


def test_a_load_that_detunes_the_filter_is_told_by_how_much() -> None:
    own = '[network.load]\nkind = "own"\nresistance = "10k"\ncapacitance = "3n"\n'
    told = found(RemarkKind.DETUNED, GOOD_PIN, SIGMA, r("10k"), c("1n"), c("4.7u", "series"), own)
    # 10 of 20.04 kohm: 6.04 dB, and the lower corner takes 0.05 dB more of 1 kHz.
    assert "takes 6.1 dB at 1 kHz" in told.text
    # 10.04 kohm with 1 nF: 15.9 kHz; 10.04 || 10 kohm with 4 nF: 7.9 kHz.
    assert "moves the corner from 15.9 kHz to 7.9" in told.text


def test_a_pin_is_too_hot_for_a_line_input_by_11_db_and_the_divider_proposed_cures_it() -> None:
    told = found(RemarkKind.TOO_HOT, GOOD_PIN, SIGMA, r("470"), c("15n"), c("10u", "series"), LINE)
    over = re.findall(r"(\d+\.\d) dB hotter than the -10 dBV", told.text)
    assert 10.5 < float(over[0]) < 11.5
    shunt = re.findall(r"^(\d+) Ω across the load", told.hint)[0]
    own = f'[network.load]\nkind = "own"\nresistance = {1 / (1 / 10_000 + 1 / float(shunt))}\n'
    cured = measure_stage(
        parse_stage(text(GOOD_PIN, SIGMA, r("470"), c("15n"), c("10u", "series"), own, QUICK), "tried.toml")
    )
    assert 20 * math.log10(cured.full_scale_rms) == pytest.approx(-10, abs=1.0)


def test_a_missing_coupling_capacitor_is_told_with_the_one_that_is_missing() -> None:
    told = found(RemarkKind.DIRECT_CURRENT, GOOD_PIN, SIGMA, r("1k"), c("10n"), LINE)
    assert told.text == "no coupling capacitor: 1.49 V DC stand at the load while a tone plays"
    # 1 / (2 pi 10 Hz (10 kohm + 1.04 kohm)) = 1.44 uF; the next value of E6 is 1.5 uF.
    assert told.hint == "1.5 µF in series with the load: -3 dB near 10 Hz"
    assert not told.serious


def test_direct_current_into_a_headphone_is_serious() -> None:
    assert found(RemarkKind.DIRECT_CURRENT, GOOD_PIN, SIGMA, r("470"), HEADPHONE).serious


def test_bass_lost_in_a_small_coupling_capacitor_is_told_with_a_larger_one() -> None:
    told = found(RemarkKind.BASS_LOST, GOOD_PIN, SIGMA, r("1k"), c("10n"), c("100n", "series"), LINE)
    # 1 / (2 pi 11.04 kohm 100 nF) = 144.2 Hz against a flat top; the top is 0.08 dB lower here, at 1.5 kHz.
    assert told.text == "the bass is 3 dB down at 142 Hz already"
    assert told.hint == "C2 about 1 µF for a corner near 15 Hz"


def test_a_pop_at_power_up_is_told_with_the_ramp_that_avoids_it() -> None:
    told = found(RemarkKind.POP, GOOD_PIN, SIGMA, r("1k"), c("10n"), c("1u", "series"), LINE, silence="256")
    assert "silence is code 256, 1.65 V at the pin, and all at once it throws 1.49 V at the load" in told.text
    assert re.match(r"let the code rise evenly from 0 to 256 over \S+ s before anything plays", told.hint)


def test_a_pin_that_rests_at_ground_does_not_pop() -> None:
    assert RemarkKind.POP not in remarks_of(text(GOOD_PIN, SIGMA, GOOD_FILTER, QUICK, silence="0"))


def test_a_loop_driven_into_its_limits_is_reported_with_where_it_began() -> None:
    loud = "[tone]\nlevel = 0\nidle-levels = 0\n"
    words = text(pin(), modulator("sigma-delta-2", "input-scale = 1\n"), GOOD_FILTER, loud)
    told = remarks_of(words)[RemarkKind.OVERLOADED]
    assert told.serious
    assert re.search(r"held at its limit at \d+ clocks, first at \d+", told.text)
    scaled = text(pin(), modulator("sigma-delta-2"), GOOD_FILTER, loud)
    assert RemarkKind.OVERLOADED not in remarks_of(scaled)


def test_bits_that_a_short_counter_drops_are_counted() -> None:
    told = found(RemarkKind.BITS_DROPPED, GOOD_PIN, pwm(6), GOOD_FILTER)
    assert told.text == "a counter of 64 positions takes 6 of the 9 bits of the code and drops the rest"


def test_clocks_in_no_whole_ratio_are_told() -> None:
    told = found(RemarkKind.CLOCKS_DO_NOT_FIT, pin("10_000_000"), SIGMA, GOOD_FILTER)
    assert "1.6276 times that of the code" in told.text


def test_a_converter_fed_by_a_bare_register_is_told_to_fold() -> None:
    words = '[converter]\nbits = 16\nrate = "48 kHz"\nfull-scale = "1 V"\n'
    told = found(RemarkKind.FOLDED, words, c("4.7u", "series"), LINE)
    assert "everything in it above 24000 Hz, the edges of square waves too, folds down" in told.text


def test_serious_remarks_come_first() -> None:
    measure = measure_stage(parse_stage(text(pin(rating="8 mA"), pwm(9), HEADPHONE, QUICK), "tried.toml"))
    marks = [remark.serious for remark in stage_remarks(measure)]
    assert marks == sorted(marks, reverse=True)
    assert marks[0]


def test_cautions_stand_where_they_belong_and_defer_to_data_sheets_codes_and_licensed_people() -> None:
    bare = measure_stage(parse_stage(text(pin(), pwm(9), HEADPHONE, QUICK), "tried.toml"))
    spoken = " ".join(cautions(bare, rendered=False))
    for word in ("Hearing:", "DC:", "Pin:", "Supply:", "data sheet", "licensed", "codes of where you are"):
        assert word in spoken
    line = measure_stage(parse_stage(text(GOOD_PIN, SIGMA, GOOD_FILTER, QUICK), "tried.toml"))
    assert [words.split(":")[0] for words in cautions(line, rendered=False)] == ["Pin", "Supply"]
    assert [words.split(":")[0] for words in cautions(line, rendered=True)] == ["Hearing", "Pin", "Supply"]
