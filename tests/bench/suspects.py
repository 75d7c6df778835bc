"""How fast suspects are ranked: a dump of more than ten seconds against descriptions that are wrong in one thing.

The dump is the shipped simulation of the jingle: 70 million cycles, 11.4 s, made by Icarus Verilog from the RTL.
The promise: at least 300 single changes ranked in under 30 s. Run by hand: ``python tests/bench/suspects.py``.
"""

from __future__ import annotations

import time
from pathlib import Path

from psgmodel.chip import parse_chip
from psgmodel.diagnose.suspects import find_suspects
from psgmodel.dump.observe import observe
from psgmodel.dump.signal_map import load_map
from psgmodel.engine import run

PATCHES = Path(__file__).parents[2] / "patches"
WRONG = {
    "noise taps": ("taps = [17, 14]", "taps = [17, 13]"),
    "a pattern": ('"1111111100000000", "1110001110000000"]', '"1111111000000000", "1110001110000000"]'),
    "all envelopes": ("every = 32_768", "every = 32_767"),
    "wave start": ("start_delay = 3", "start_delay = 4"),
    "wave gain": ("wave = 3", "wave = 4"),
    "two at once": ("start_delay = 3", "start_delay = 4\nlevels = 'bipolar'"),
}


def main() -> None:
    """Print seconds and changes for each wrong description."""
    text = (PATCHES / "linnet.toml").read_text(encoding="utf-8")
    chip = parse_chip(text)
    begin = time.perf_counter()
    observation = observe(str(PATCHES / "jingle.vcd.gz"), chip, load_map(PATCHES / "linnet-bench.toml", chip))
    print(f"dump of {observation.end / float(chip.clock_hz):.1f} s read in {time.perf_counter() - begin:.1f} s")
    assert observation.log is not None
    begin = time.perf_counter()
    run(chip, observation.log.with_end(observation.end))
    print(f"the whole model takes {time.perf_counter() - begin:.2f} s\n")
    print(f"{'wrong':20}{'single':>8}{'pairs':>8}{'seconds':>9}{'a second':>10}  best")
    for name, (right, wrong) in WRONG.items():
        begin = time.perf_counter()
        found = find_suspects(parse_chip(text.replace(right, wrong)), observation, observation.log)
        seconds = time.perf_counter() - begin
        tried = found.singles + found.pairs
        best = f"{100 * found.ranked[0].share:.4g} %  {found.ranked[0]}" if found.ranked else found.certainty.value
        print(
            f"{name:20}{found.singles:8}{found.pairs:8}{seconds:9.1f}{tried / seconds:10.0f}  {best[:90]}", flush=True
        )


if __name__ == "__main__":
    main()
