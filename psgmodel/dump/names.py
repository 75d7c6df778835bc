"""Names that signals usually have: clocks, resets, buses, channels and outputs.

Stage: dump. In: the last part of a signal's path. Out: how well it fits a part of a signal map (a rank, 0 best), and
the polarity that a trailing ``_n`` or ``_b`` tells. Common practice in RTL, no source. Case does not matter.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import NamedTuple

from psgmodel.chip.channel import Channel


def _words(text: str) -> tuple[str, ...]:
    return tuple(text.split())


CLOCK = _words("clk clock mclk sysclk sys_clk clk_sys system_clock aclk pclk hclk")
ENABLE = _words("clk_en clken clk_enable clock_enable clock_en clkena cken ck_en clk_ce")
RESET = _words("rst reset srst arst sreset areset preset hreset sys_rst sys_reset rst_sys")
WRITE = _words(
    "wr we write wr_en write_en write_enable wr_enable wr_stb wstb write_strobe bus_wr bus_we bus_write "
    "reg_wr reg_we reg_write"
)
ADDRESS = _words("waddr wr_addr write_addr write_address addr address adr bus_addr bus_address reg_addr")
DATA = _words("wdata wr_data write_data data_in din bus_wdata reg_wdata dat_w data_w data bus_data reg_data dat")

_LEVEL_WORDS = ("level", "lvl")
_CHANNEL_WORDS = ("channel", "chan", "ch", "voice", "output", "out", "value", "val")
_OUTPUT_WORDS = ("output", "out", "mix", "code", "dac", "audio", "sample", "pcm", "pin", "pwm")
_ABBREVIATED = 3
_IN_SCOPE = 8


class Control(NamedTuple):
    """A name as a control signal: without direction marks and polarity."""

    base: str
    low: bool


def control_name(name: str) -> Control:
    """Return what is left of a name without ``i_``, ``o_``, ``_i``, ``_o`` and a mark of negative polarity."""
    word = name.lower().lstrip("\\")
    word = re.sub(r"^[io]_", "", word)
    word = re.sub(r"_[io]$", "", word)
    stripped = re.sub(r"_[nb]$", "", word)
    if stripped != word:
        return Control(stripped, True)
    if word.startswith("n_"):
        return Control(word[2:], True)
    for base in RESET:
        if word in (base + "n", "n" + base):
            return Control(base, True)
    return Control(word, False)


def control_rank(name: str, known: tuple[str, ...]) -> int | None:
    """Return the place of a name in a list of usual names, or None."""
    base = control_name(name).base
    return known.index(base) if base in known else None


def level_rank(scope: tuple[str, ...], name: str, wanted: str, others: Iterable[str]) -> int | None:
    """Return how well a signal's name fits the level of a channel, or None.

    ``level_a`` before ``ch_a`` before ``a``; then abbreviations that only one channel has (``level_w`` for ``wave``);
    then ``a.level``, a signal of the channel's own scope.
    """
    found = _rank(name, wanted, others, _LEVEL_WORDS, _CHANNEL_WORDS)
    if found is not None or not scope:
        return found
    inside = _rank(scope[-1], wanted, others, (), ())
    if inside is None or name.lower() not in (*_LEVEL_WORDS, *_CHANNEL_WORDS):
        return None
    return inside + _IN_SCOPE


def output_rank(name: str, wanted: str, others: Iterable[str]) -> int | None:
    """Return how well a signal's name fits an output; the only output of a chip may be called by a usual word alone."""
    others = tuple(others)
    found = _rank(name, wanted, others, (), _OUTPUT_WORDS)
    if found is None and not others:
        words = set(re.split(r"_+", re.sub(r"^o_|_o$", "", name.lower())))
        return _IN_SCOPE if words and words <= set(_OUTPUT_WORDS) else None
    return found


def _rank(name: str, wanted: str, others: Iterable[str], best: tuple[str, ...], usual: tuple[str, ...]) -> int | None:
    """Return 0 for a name with a best word, 1 with a usual word, 2 for the bare name; more where abbreviated."""
    word = name.lower().lstrip("\\")
    word = re.sub(r"^o_|_o$", "", word)
    target = wanted.lower()
    words = (*best, *usual)
    either = "|".join(words) if words else "(?!)"
    before = re.match(rf"(?:(?:{either})_?)*(?={re.escape(target)}(?:_?(?:{either}))*$)", word)
    if before is not None:
        extra = word[: before.end()] + word[before.end() + len(target) :]
        if not extra:
            return 2 if len(target) > 1 else None
        return 0 if any(b in extra for b in best) else 1
    parts = [p for p in word.split("_") if p not in words]
    if len(parts) != 1 or parts[0] == word or not parts[0] or not target.startswith(parts[0]):
        return None
    if any(o.lower().startswith(parts[0]) for o in others):
        return None
    return _ABBREVIATED + (0 if any(b in word.split("_") for b in best) else 1)


class LevelWidth(NamedTuple):
    """Bits that the level of a channel needs, and whether it can be negative."""

    bits: int
    signed: bool


def level_width(channel: Channel) -> LevelWidth:
    """Return how wide a signal must be to hold every level of a channel."""
    loudness = max(channel.volume_table, default=(1 << channel.volume_bits) - 1)
    table = channel.table
    high, low = loudness, -loudness
    if table is not None:
        sample = (1 << table.bits) - 1
        least = 0
        if channel.levels == "bipolar":
            sample, least = sample >> 1, -(1 << table.bits - 1)
        by_shift = table.volume == "shift"
        high, low = (v if by_shift else v * loudness >> table.volume_shift for v in (sample, least))
    if channel.levels == "unipolar":
        low = 0
    high, low = max(high, channel.idle_level), min(low, channel.idle_level)
    signed = low < 0
    return LevelWidth(max(high.bit_length(), (-low - 1).bit_length() if signed else 0) + signed, signed)
