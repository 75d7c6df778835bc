"""Stage files that several tests share, as the text a user would write."""

from __future__ import annotations

from psgmodel.output_stage.stage import Stage, parse_stage

CODE = "[code]\nbits = {bits}\nclock = {clock}\n"
LINE = '[network.load]\nkind = "line-input"\n'
HEADPHONE = '[network.load]\nkind = "headphone"\n'
OPEN = ""


def part(kind: str, position: str, value: str) -> str:
    return f'[[network.ladder]]\npart = "{kind}"\nposition = "{position}"\nvalue = "{value}"\n'


def r(value: str, position: str = "series") -> str:
    return part("resistor", position, value)


def c(value: str, position: str = "shunt") -> str:
    return part("capacitor", position, value)


def pin(clock: str = '"6.144 MHz"', *, supply: float = 3.3, resistance: float = 0.0, rating: str = "") -> str:
    more = f'rating = "{rating}"\n' if rating else ""
    return f"[pin]\nsupply = {supply}\nclock = {clock}\nresistance = {resistance}\n{more}"


def pwm(bits: int, more: str = "") -> str:
    return f'[modulator]\nkind = "pwm"\nbits = {bits}\n{more}'


def modulator(kind: str, more: str = "") -> str:
    return f'[modulator]\nkind = "{kind}"\n{more}'


def text(*parts: str, bits: int = 9, clock: str = '"6.144 MHz"', silence: str = "") -> str:
    code = CODE.format(bits=bits, clock=clock) + (f"silence = {silence}\n" if silence else "")
    return 'format = 1\ntitle = "tried"\n' + code + "".join(parts)


def stage(*parts: str, bits: int = 9, clock: str = '"6.144 MHz"', silence: str = "") -> Stage:
    return parse_stage(text(*parts, bits=bits, clock=clock, silence=silence), "tried.toml")


NO_IDLE = "[tone]\nidle-levels = 0\n"
