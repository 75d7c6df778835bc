"""The digital side of a stage: cut anywhere it gives the same levels; the tone's record fits what repeats."""

from __future__ import annotations

import math
from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest

from psgmodel.errors import StageError
from psgmodel.output_stage.modulators import steps_of_samples
from psgmodel.output_stage.stage import (
    HeardState,
    PathState,
    Stage,
    carrier_hz,
    heard,
    output_levels,
    plan_tone,
    tone_code,
)
from psgmodel.output_stage.stage.converter import reconstruction_taps
from psgmodel.output_stage.stage.records import Converter, Feed
from psgmodel.steps import Steps, constant_steps
from tests.output_stage.stage_texts import LINE, c, modulator, pin, pwm, r, stage

CONVERTER = '[converter]\nbits = 12\nrate = "48 kHz"\nfull-scale = "1 V"\n'
FORMS = {
    "pwm": (pin('"12.288 MHz"'), pwm(7)),
    "centre": (pin('"12.288 MHz"'), pwm(7, 'edge = "centre"\n')),
    "shaped": (pin('"12.288 MHz"'), pwm(5, "shaper = 2\n")),
    "first order": (pin('"12.288 MHz"'), modulator("sigma-delta-1")),
    "second order": (pin('"12.288 MHz"'), modulator("sigma-delta-2")),
    "clocks that do not fit": (pin("10_000_000"), modulator("sigma-delta-1")),
    "converter, sampled": (CONVERTER,),
    "converter, band-limited": (CONVERTER + 'feed = "band-limited"\n',),
}
FILTER = r("1k") + c("10n") + c("1u", "series") + LINE


def walk(end: int, seed: int = 5) -> Steps:
    source = np.random.default_rng(seed)
    return steps_of_samples(source.integers(0, 512, end // 37 + 1), 37).cut(0, end)


def tried(name: str) -> Stage:
    return stage(*FORMS[name], FILTER)


@pytest.mark.parametrize("name", FORMS)
def test_a_code_cut_anywhere_gives_the_same_levels(name: str) -> None:
    code = walk(20_000)
    whole, _ = output_levels(tried(name), code)
    for cuts in ([0, 1, 2, 20_000], [0, 511, 512, 513, 7000, 20_000], [0, 13_333, 20_000]):
        state = PathState(tried(name))
        parts = [state.push(code.cut(a, b)) for a, b in pairwise(cuts)] + [state.finish()]
        joined = [p for p in parts if len(p)]
        made = joined[0]
        for part in joined[1:]:
            made = made.then(part)
        assert made.end == whole.end
        if name.startswith("converter"):
            at = np.arange(whole.end)
            assert np.abs(made.at(at).astype(np.int64) - whole.at(at)).max() <= 1  # sums in another order
        else:
            assert made == whole


@pytest.mark.parametrize("name", FORMS)
def test_what_the_load_hears_does_not_depend_on_the_cuts(name: str) -> None:
    code = walk(30_000)
    whole = heard(tried(name), code)
    state = HeardState(tried(name))
    parts = [state.push(code.cut(a, b)) for a, b in ((0, 100), (100, 101), (101, 19_999), (19_999, 30_000))]
    made = np.concatenate([*parts, state.finish()])
    assert made.size == whole.size
    assert np.abs(made - whole).max() < 1e-7


@pytest.mark.parametrize("name", FORMS)
def test_a_constant_code_is_heard_as_nothing_because_the_network_starts_settled(name: str) -> None:
    volts = heard(tried(name), constant_steps(400, 0, 30_000))
    assert np.abs(volts[5:-25]).max() < 0.02  # what is left of a carrier, of 3.3 V
    assert np.abs(volts).max() < 0.1  # a carrier begins and ends: a tenth of a millisecond, no step of 1 V and more


@pytest.mark.parametrize("name", FORMS)
def test_the_mean_of_a_constant_code_is_what_the_stage_says_of_it(name: str) -> None:
    one = tried(name)
    levels, _ = output_levels(one, constant_steps(300, 0, 200_000))
    late = levels.cut(levels.end // 2, levels.end)
    mean = float(np.dot(late.level, late.durations())) / (late.end - late.start)
    volts = mean * one.full_scale_peak / 2**26 if isinstance(one.output, Converter) else mean * 3.3
    assert volts == pytest.approx(one.code_volts(300), abs=0.02 * one.swing)


def test_a_code_outside_its_width_is_refused() -> None:
    with pytest.raises(StageError, match=r"code 512 at cycle 0 \(accepted: 0 to 511"):
        PathState(tried("pwm")).push(constant_steps(512, 0, 10))


@pytest.mark.parametrize("name", FORMS)
def test_the_record_of_a_tone_is_whole_in_everything_that_repeats(name: str) -> None:
    one = tried(name)
    plan = plan_tone(one)
    assert plan.hz * plan.seconds == plan.periods
    assert (plan.end - plan.start) == plan.seconds * one.clock
    carrier = carrier_hz(one)
    if carrier is not None:
        turns = plan.seconds * carrier
        assert turns.denominator == 1
        assert math.gcd(int(turns), plan.periods) == 1
    assert abs(float(plan.hz) - 997) < 40
    assert output_levels(one, tone_code(one, plan))[0].end >= plan.end


def test_clocks_without_a_common_measure_get_a_record_all_the_same() -> None:
    one = stage(pin('"100_000_001 / 3"'), pwm(8), FILTER)
    plan = plan_tone(one)
    assert not plan.repeats
    assert plan.seconds == pytest.approx(0.04, rel=0.01)
    assert plan.hz * plan.seconds == plan.periods


def test_the_tone_repeats_exactly_and_reaches_its_level() -> None:
    one = stage(pin(), pwm(6), FILTER, "[tone]\nlevel = -6\n", bits=12)
    plan = plan_tone(one)
    codes = tone_code(one, plan).at(np.arange(plan.code_start, plan.code_end))
    assert codes.max() == round(2048 + 2048 * 10 ** (-6 / 20))
    assert codes.min() == round(2048 - 2048 * 10 ** (-6 / 20))
    fitted = np.fft.rfft(codes - codes.mean())
    assert int(np.argmax(np.abs(fitted))) == plan.periods


def test_the_reconstruction_filter_keeps_its_promises() -> None:
    from scipy.signal import freqz

    converter = Converter(16, 48_000, Feed.SAMPLED, 1.0, stop_attenuation=70.0)
    hz, gain = freqz(reconstruction_taps(converter) / 16, worN=2**15, fs=768_000)
    size = np.abs(gain)
    assert size[0] == pytest.approx(1.0)
    assert np.abs(20 * np.log10(size[hz <= 0.4535 * 48_000])).max() < 0.01
    assert 20 * np.log10(size[hz >= 0.5465 * 48_000].max()) < -69.5


def test_an_exact_clock_stays_exact() -> None:
    assert stage(pin('"100_000_000 / 3"'), modulator("sigma-delta-1"), FILTER).clock == Fraction(10**8, 3)
