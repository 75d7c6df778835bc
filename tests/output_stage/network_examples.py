"""Networks that several tests share, as the text a user would write."""

from __future__ import annotations

from psgmodel.output_stage.networks import Network, parse_network


def part(kind: str, value: str | float, position: str, more: str) -> str:
    text = f'[[ladder]]\npart = "{kind}"\nposition = "{position}"\nvalue = "{value}"\n'
    return text + (f"{more}\n" if more else "")


def r(value: str | float, position: str = "series", more: str = "") -> str:
    return part("resistor", value, position, more)


def c(value: str | float, position: str = "shunt", more: str = "") -> str:
    return part("capacitor", value, position, more)


def coil(value: str | float, position: str = "series", more: str = "") -> str:
    return part("inductor", value, position, more)


def sallen_key(r1: str, r2: str, c1: str, c2: str, op_amp: str = "quick") -> str:
    return (
        f'[[ladder]]\nactive = "sallen-key"\nop-amp = "{op_amp}"\nr1 = "{r1}"\nr2 = "{r2}"\nc1 = "{c1}"\nc2 = "{c2}"\n'
    )


def multiple_feedback(r1: str, r2: str, r3: str, c1: str, c2: str, reference: float = 0.0, amp: str = "quick") -> str:
    return (
        f'[[ladder]]\nactive = "multiple-feedback"\nop-amp = "{amp}"\nreference = {reference}\n'
        f'r1 = "{r1}"\nr2 = "{r2}"\nr3 = "{r3}"\nc1 = "{c1}"\nc2 = "{c2}"\n'
    )


QUICK = '[op-amp.quick]\ngain-bandwidth = "10M"\ndc-gain = 1e5\n'
PLAIN = '[op-amp.plain]\ngain-bandwidth = "1M"\ndc-gain = 2e5\noutput-resistance = 75\n'
LINE = '[load]\nkind = "line-input"\n'
HEADPHONE = '[load]\nkind = "headphone"\n'
AMPLIFIER = '[load]\nkind = "amplifier-input"\n'


def own(resistance: str, capacitance: str = "") -> str:
    more = f'capacitance = "{capacitance}"\n' if capacitance else ""
    return f'[load]\nkind = "own"\nresistance = "{resistance}"\n{more}'


def pin(resistance: float) -> str:
    return f"[pin]\nresistance = {resistance}\n"


TEXTS: dict[str, str] = {
    "one RC": r("4k7") + c("100n"),
    "one RC into a line input": pin(25) + r("1k") + c("10n") + LINE,
    "two equal RC": r("1k") + c("10n") + r("1k") + c("10n"),
    "two RC, coupled, into a cable and line input": (
        pin(25) + r("1k") + c("10n") + r("10k") + c("1n") + c("10u", "series") + own("10k", "220p")
    ),
    "three RC into an amplifier": pin(40) + r("470") + c("22n") + r("1k5") + c("4n7") + r("4k7") + c("1n") + AMPLIFIER,
    "LC Butterworth into 8 ohm": coil("60.0211u") + c("0.468915u") + own("8"),
    "LC with losses, coupled, into a headphone": (
        pin(10)
        + r("150")
        + coil("1m", more="winding-resistance = 2.2")
        + c("47n", more="series-resistance = 0.5")
        + c("220u", "series", "series-resistance = 0.1")
        + HEADPHONE
    ),
    "doubly terminated LC of order five": (
        r("600") + coil("2m") + c("15n") + coil("6m8") + c("15n") + coil("2m") + own("600")
    ),
    "two coils in series": pin(50) + coil("100u") + coil("220u", more="winding-resistance = 1") + c("10n") + own("1k"),
    "shunt coil behind a coupling capacitor": pin(50) + c("1u", "series") + coil("10m", "shunt") + r("100") + own("1k"),
    "Sallen-Key": r("100") + sallen_key("10k", "10k", "1n", "470p") + QUICK + LINE,
    "Sallen-Key with a slow op amp": sallen_key("4k7", "4k7", "4n7", "2n2", "plain")
    + c("10u", "series")
    + PLAIN
    + LINE,
    "multiple feedback": pin(25) + multiple_feedback("10k", "10k", "4k7", "2n2", "470p") + QUICK + LINE,
    "RC, multiple feedback about mid supply, coupled": (
        r("1k")
        + c("4n7")
        + multiple_feedback("10k", "10k", "4k7", "2n2", "330p", 1.65, "plain")
        + c("10u", "series")
        + PLAIN
        + own("10k", "100p")
    ),
    "two Sallen-Key sections": (
        sallen_key("10k", "10k", "1n5", "820p") + sallen_key("10k", "10k", "3n9", "270p") + QUICK + LINE
    ),
    "bridge of parts between nodes": """
output = "out"
[pin]
resistance = 30
[[element]]
part = "resistor"
name = "R1"
from = "pin"
to = "a"
value = "2k2"
[[element]]
part = "capacitor"
name = "C1"
from = "a"
to = "ground"
value = "3n3"
[[element]]
part = "resistor"
name = "R2"
from = "a"
to = "out"
value = "2k2"
[[element]]
part = "capacitor"
name = "C2"
from = "pin"
to = "out"
value = "220p"
[[element]]
part = "capacitor"
name = "C3"
from = "out"
to = "ground"
value = "1n"
[load]
kind = "line-input"
""",
}


def example(name: str) -> Network:
    return parse_network(f'title = "{name}"\n' + TEXTS[name], file=f"{name}.toml")
