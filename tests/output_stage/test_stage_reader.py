"""Stage files: what is read, and what each fault is told as, with its line."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from psgmodel.errors import StageError
from psgmodel.output_stage.modulators import FirstOrder, Pwm, PwmEdge, SecondOrder
from psgmodel.output_stage.stage import Converter, Feed, Figure, Pin, ShapedPwm, load_stage, parse_stage
from psgmodel.output_stage.stage.figures import Limit
from psgmodel.output_stage.stage.tables import exact_clock
from tests.output_stage.stage_texts import HEADPHONE, LINE, c, modulator, pin, pwm, r, stage, text

PATCHES = Path(__file__).parents[2] / "patches"


def problems_of(words: str) -> list[str]:
    with pytest.raises(StageError) as caught:
        parse_stage(words, "tried.toml")
    return [str(problem) for problem in caught.value.problems]


def test_a_stage_file_says_code_pin_modulator_network_and_load() -> None:
    found = stage(pin(resistance=40, rating="8 mA"), pwm(9), r("1k"), c("10n"), LINE)
    assert found.output == Pin(3.3, 40.0, 0.008, Fraction(6_144_000))
    assert found.modulator == Pwm(512, PwmEdge.TRAILING)
    assert (found.code.bits, found.code.clock, found.code.silence) == (9, 6_144_000, 256)
    assert [(e.name, e.value) for e in found.network.elements] == [
        ("R_pin", 40.0),
        ("R1", 1000.0),
        ("C1", 1e-8),
        ("R_load", 10_000.0),
    ]
    assert found.full_scale_peak == pytest.approx(1.65)


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (pwm(8, 'edge = "centre"\n'), Pwm(256, PwmEdge.CENTRE)),
        ('[modulator]\nkind = "pwm"\nlength = 500\n', Pwm(500, PwmEdge.TRAILING)),
        ('[modulator]\nkind = "pwm"\ncarrier = "96 kHz"\n', Pwm(64, PwmEdge.TRAILING)),
        (modulator("sigma-delta-1"), FirstOrder(9)),
        (modulator("sigma-delta-1", "bits = 12\n"), FirstOrder(12)),
    ],
)
def test_every_modulator_can_be_named(words: str, expected: Pwm | FirstOrder) -> None:
    assert stage(pin(), words, r("1k"), c("10n")).modulator == expected


def test_shaping_and_the_second_order_loop_are_read_with_their_numbers() -> None:
    shaped = stage(pin(), pwm(5, "shaper = 2\n"), r("1k"), c("10n")).modulator
    assert isinstance(shaped, ShapedPwm)
    assert (shaped.shaper.order, shaped.shaper.step, shaped.shaper.top) == (2, 16, 32)
    loop = modulator(
        "sigma-delta-2", 'input-scale = "5/8"\n[modulator.dither]\nwidth = 16\ntaps = [16, 15, 13, 4]\nbits = 6\n'
    )
    second = stage(pin(), loop, r("1k"), c("10n")).modulator
    assert isinstance(second, SecondOrder)
    assert second.input_scale == Fraction(5, 8)
    assert second.dither is not None
    assert second.dither.taps == (16, 15, 13, 4)


def test_a_converter_stands_in_place_of_pin_and_modulator() -> None:
    words = '[converter]\nbits = 16\nrate = "48 kHz"\nfull-scale = "1 V"\nfeed = "band-limited"\nsnr-a = 96\n'
    found = stage(words, c("10u", "series"), LINE)
    assert isinstance(found.output, Converter)
    assert (found.output.bits, found.output.rate, found.output.feed) == (16, 48_000, Feed.BAND_LIMITED)
    assert found.modulator is None
    assert found.full_scale_peak == pytest.approx(2**0.5)


def test_limits_and_prices_are_read_with_their_units() -> None:
    more = '[limits]\nsnr = 60\nripple = "5 mV"\nlevel = [-12, -6]\n[prices]\nresistor = 0.02\n'
    more += 'capacitor = [{ up-to = "1u", price = 0.05 }, { price = 0.4 }]\n'
    found = stage(pin(), pwm(9), r("1k"), c("10n"), LINE, more)
    assert [(limit.figure, limit.low, limit.high) for limit in found.limits] == [
        (Figure.SNR, 60.0, None),
        (Figure.RIPPLE, None, 0.005),
        (Figure.LEVEL, -12.0, -6.0),
    ]
    assert found.prices is not None
    assert found.prices.of_part("capacitor", 1e-6) == 0.05
    assert found.prices.of_part("capacitor", 2e-6) == 0.4


def test_a_load_on_the_bare_pin_needs_no_network() -> None:
    found = stage(pin(resistance=25), pwm(9), HEADPHONE)
    assert found.network.output == "pin"
    assert [e.name for e in found.network.elements] == ["R_pin", "R_load"]


@pytest.mark.parametrize("name", ["stage-pwm-rc.toml", "stage-sigma-delta-rc-rc.toml", "stage-codec.toml"])
def test_the_shipped_stages_are_for_the_unit_of_the_scoreboard(name: str) -> None:
    found = load_stage(PATCHES / name)
    assert (found.code.bits, found.code.clock, found.code.silence) == (9, 6_144_000, 0)


@pytest.mark.parametrize(
    ("word", "hertz"),
    [(6_144_000, Fraction(6_144_000)), ("49.152 MHz", Fraction(49_152_000)), ("100_000_000 / 3", Fraction(10**8, 3))],
)
def test_clocks_are_exact(word: object, hertz: Fraction) -> None:
    assert exact_clock(word) == hertz


@pytest.mark.parametrize("word", [0, -1, "3 GHz", "1.5", "5 / 0", "a / b", True, "12 V"])
def test_a_clock_that_is_none_is_refused_with_what_is_accepted(word: object) -> None:
    with pytest.raises(StageError, match="accepted is"):
        exact_clock(word)


# Each fault alone: what is written, and the whole message, written by hand.
FAULTS = {
    "carrier": (
        text(pin(), '[modulator]\nkind = "pwm"\ncarrier = "90 kHz"\n', r("1k"), c("10n")),
        "tried.toml:12: a trailing carrier of 90000 Hz from a clock of 6144000 Hz needs a counter of "
        "68.26666667 positions (accepted: a whole number from 1 to 16777216; nearest carriers: 90352.94118 Hz "
        "(length 68) or 89043.47826 Hz (length 69))",
    ),
    "negative part": (
        text(pin(), pwm(9), r("-1k"), c("10n"), LINE),
        "tried.toml:13: resistor R1 is -1 kΩ; accepted is a positive value",
    ),
    "no path to ground": (
        text(pin(), pwm(9), r("1k"), c("10n", "series")),
        'tried.toml:17: node "out" floats: it has no path to ground for direct current (at C1) '
        "(give it a load or resistor)",
    ),
    "kind": (
        text(pin(), modulator("sigma-delta-3"), r("1k"), c("10n")),
        "tried.toml:11: kind is 'sigma-delta-3'; accepted: pwm, sigma-delta-1, sigma-delta-2 "
        '(did you mean "sigma-delta-2"?)',
    ),
    "unknown key": (
        text(pin().replace("supply", "suply"), pwm(9), r("1k"), c("10n")),
        'tried.toml:6: "supply" is missing in [pin]\n'
        'tried.toml:7: unknown key "suply" in [pin] (did you mean "supply"?)',
    ),
    "shaper that shapes nothing": (
        text(pin(), pwm(9, "shaper = 1\n"), r("1k"), c("10n")),
        "tried.toml:10: a shaper turns 9 bits into fewer, and a counter of 512 positions takes no fewer "
        "(accepted with a shaper: 2, 4, 8, ... up to 256 positions)",
    ),
    "no network": (
        text(pin(), pwm(9)),
        'tried.toml: "network" is missing: describe what stands between pin and load (at least its load)',
    ),
    "range": (
        text(pin(), pwm(9), r("1k"), c("10n"), "[limits]\nlevel = -10\n"),
        "tried.toml:22: level is -10; accepted is a range such as [-12, -8], in dBV",
    ),
    "pin twice": (
        text(pin(), pwm(9), r("1k"), c("10n"), "[network.pin]\nresistance = 3\n"),
        "tried.toml:13: [network.pin] says what [pin] or [converter] says; give the resistance there",
    ),
    "prices": (
        text(pin(), pwm(9), r("1k"), c("10n"), '[prices]\ncapacitor = [{ up-to = "1u", price = 1 }]\n'),
        'tried.toml:22: prices of a capacitor must rise in "up-to" and end with an entry that has none: the price of '
        "the rest",
    ),
    "silence": (
        text(pin(), pwm(9), r("1k"), c("10n"), silence="512"),
        "tried.toml:6: silence is 512; accepted is a whole number from 0 to 511",
    ),
}


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_is_told_with_its_line_and_what_is_accepted(name: str) -> None:
    words, expected = FAULTS[name]
    assert "\n".join(problems_of(words)) == expected


def test_all_faults_of_a_file_are_told_at_once() -> None:
    words = text(
        '[pin]\nsupply = -3\nclock = "many"\n',
        '[modulator]\nkind = "pwm"\nbits = 99\n',
        r("lots"),
        c("10n"),
        "[tone]\nlevel = 6\n",
    )
    found = problems_of(words)
    assert len(found) == 5
    assert [int(p.split(":")[1]) for p in found] == [7, 8, 11, 15, 21]
    assert found[2].startswith("tried.toml:11: bits is 99; accepted is a whole number from 1 to 24")


def test_a_network_that_swings_up_by_itself_is_reported_and_not_run_for_ever() -> None:
    from psgmodel.output_stage.stage import measure_stage

    amp = (
        '[[network.element]]\nop-amp = "plain"\nname = "U1"\nplus = "a"\nminus = "ground"\noutput = "out"\n'
        '[[network.element]]\npart = "resistor"\nname = "R1"\nfrom = "pin"\nto = "a"\nvalue = "10k"\n'
        '[[network.element]]\npart = "resistor"\nname = "R2"\nfrom = "a"\nto = "out"\nvalue = "10k"\n'
        '[network.op-amp.plain]\ngain-bandwidth = "1M"\n[network.load]\nkind = "line-input"\n'
    )
    with pytest.raises(StageError, match=r"the network is unstable: it swings up by itself .* \(at U1\)"):
        measure_stage(stage(pin(), pwm(9), amp))


def test_a_limit_knows_by_how_much_it_is_missed() -> None:
    limit = Limit(Figure.LEVEL, -12.0, -8.0)
    assert [limit.missed_by(v) for v in (-13.5, -12.0, -10.0, -7.0)] == [1.5, 0.0, 0.0, 1.0]
    assert limit.wanted() == "-12 to -8 dBV"
    assert Limit(Figure.RIPPLE, None, 0.005).wanted() == "at most 5 mV"
