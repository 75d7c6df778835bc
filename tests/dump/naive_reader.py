"""A slow, plain reader of value change dumps, one token at a time: the reference for the fast kernel.

Written from the grammar of IEEE 1364-2005, clause 18, as quoted in public parsers; it shares no code with the
package. In: the bytes of a dump. Out: for each full name the list of (time, text), where text has one of 0, 1, x, z
and the like for each declared bit. Of several changes at one time the last one counts; repeats are dropped.
"""

from __future__ import annotations

from typing import NamedTuple

SECTIONS = {b"$dumpvars", b"$dumpall", b"$dumpon", b"$dumpoff", b"$end"}


class NaiveDump(NamedTuple):
    signals: dict[str, list[tuple[int, str]]]
    widths: dict[str, int]
    end_time: int | None


def extended(digits: str, width: int) -> str:
    """Extend to the left: 0 and 1 with 0, everything else with itself (table 18-1)."""
    digits = digits.lower()
    if digits.startswith("0b"):
        digits = digits[2:]
    fill = "0" if digits[0] in "01hl" else digits[0]
    return digits.rjust(width, fill)


def read(data: bytes) -> NaiveDump:
    words = data.split()
    names: dict[str, bytes] = {}
    widths: dict[str, int] = {}
    scope: list[str] = []
    i = 0
    while words[i] != b"$enddefinitions":
        end = words.index(b"$end", i)
        group = [w.decode() for w in words[i:end]]
        if group[0] == "$scope":
            scope.append(group[2])
        elif group[0] == "$upscope":
            scope.pop()
        elif group[0] == "$var":
            name = ".".join([*scope, group[4].partition("[")[0] if not group[4].startswith("\\") else group[4]])
            names[name] = words[i + 3]
            widths[name] = int(group[2])
        i = end + 1
    changes: dict[bytes, list[tuple[int, str]]] = {code: [] for code in names.values()}
    time: int | None = None
    body = iter(words[i + 2 :])
    for word in body:
        if word == b"$comment":
            while next(body) != b"$end":
                pass
        elif word[:1] == b"#":
            time = int(word[1:])
        elif word[:1] in b"bB":
            changes[next(body)].append((time or 0, word[1:].decode()))
        elif word[:1] in b"rRsS":
            next(body)
        elif word not in SECTIONS:
            changes[word[1:]].append((time or 0, word[:1].decode()))
    signals = {n: canonical(changes[code], widths[n]) for n, code in names.items()}
    return NaiveDump(signals, widths, time)


def canonical(changes: list[tuple[int, str]], width: int) -> list[tuple[int, str]]:
    """Return the changes extended, one a time, without repeats."""
    last = {time: extended(text, width) for time, text in changes}
    kept: list[tuple[int, str]] = []
    for time, text in last.items():
        if not kept or kept[-1][1] != text:
            kept.append((time, text))
    return kept


def as_levels(changes: list[tuple[int, str]]) -> list[tuple[int, int | None]]:
    """Return (time, number), with None for any bit that is neither 0 nor 1 (h and l are 1 and 0)."""
    levels: list[tuple[int, int | None]] = []
    for time, text in changes:
        digits = text.replace("h", "1").replace("l", "0")
        number = int(digits, 2) if set(digits) <= {"0", "1"} else None
        if not levels or levels[-1][1] != number:
            levels.append((time, number))
    return levels
