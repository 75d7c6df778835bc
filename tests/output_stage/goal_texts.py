"""Files of goals that several tests share, small enough to be searched in a second or two."""

from __future__ import annotations

from psgmodel.output_stage.search import Goals, parse_goals

HEAD = 'format = 1\ntitle = "tried"\n[code]\nbits = 9\nclock = "6.144 MHz"\nsilence = 0\n'
PIN = '[pin]\nsupply = 3.3\nresistance = 40\nrating = "8 mA"\nclocks = ["6.144 MHz"]\n'
LOAD = '[load]\nkind = "line-input"\n'
GOALS = '[goals]\nsinad = 50\nripple = "60 mV"\ndroop = 3\nlevel = [-14, -6]\n'
DRAWERS = (
    'resistors = { series = "E6", from = "470", to = "10k" }\ncapacitors = { series = "E6", from = "1n", to = "47n" }\n'
)
CANDIDATES = (
    '[candidates]\nmodulators = ["sigma-delta-1", "pwm-shaped-1"]\ncounters = [4, 5]\n'
    'topologies = ["rc-divider", "rc-rc"]\ncoupling = ["4.7u"]\n' + DRAWERS
)
PRICES = (
    '[prices]\nresistor = 0.01\ncapacitor = [{ up-to = "100n", price = 0.03 }, { price = 0.12 }]\nconverter = 2.5\n'
)
SEARCH = "[search]\nfinalists = 3\n"
CONVERTER = (
    '[converter]\nbits = 16\nrate = "48 kHz"\nfull-scale = "0.4 V"\nresistance = 100\nsnr-a = 90\nthd = -80\n'
    'feed = "band-limited"\n'
)


def text(*parts: str) -> str:
    return HEAD + "".join(parts)


def goals(*more: str, wanted: str = GOALS, candidates: str = CANDIDATES) -> Goals:
    return parse_goals(text(PIN, LOAD, wanted, candidates, PRICES, SEARCH, *more), "tried.toml")
