"""Generated dumps, written by pyvcd, are read as pyvcd, pywellen and the slow reader of these tests read them."""

from __future__ import annotations

import io
import tempfile
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pywellen
from hypothesis import example, given, settings
from hypothesis import strategies as st
from vcd.reader import TokenKind, tokenize
from vcd.writer import VCDWriter

from psgmodel.dump import Timescale, read_changes, read_header
from psgmodel.dump.codes import NOT_KEPT, UNDECLARED, CodeTable
from psgmodel.dump.digits import PAD, decode_levels, decode_times
from tests.dump import naive_reader
from tests.dump.dump_text import Levels, levels

WIDTHS = [1, 1, 2, 3, 4, 7, 8, 9, 16, 31, 32, 33, 63, 64, 70]


class Written(NamedTuple):
    data: bytes
    names: list[str]


@st.composite
def dumps(draw: st.DrawFn) -> Written:
    """Write a dump with pyvcd: signals of every width, unknown values, a value off and on again."""
    widths = draw(st.lists(st.sampled_from(WIDTHS), min_size=1, max_size=12))
    steps = draw(st.lists(st.tuples(st.integers(0, 10**12), st.integers(0, len(widths) - 1)), max_size=60))
    random = draw(st.randoms(use_true_random=False))
    stream = io.StringIO()
    with VCDWriter(stream, timescale="10 ps", date="today", init_timestamp=draw(st.sampled_from([0, 7]))) as writer:
        made = [
            writer.register_var(f"top.unit{i % 3}", f"s{i}", "wire", size=w, init=draw(st.sampled_from([None, 0, 1])))
            for i, w in enumerate(widths)
        ]
        real = writer.register_var("top", "r", "real", init=0.0)
        time = 7
        for step, which in steps:
            time += step
            if widths[which] == 1:
                writer.change(made[which], time, random.choice(["0", "1", "x", "z"]))
            elif random.random() < 0.3:
                text = "".join(random.choice("01xz") for _ in range(widths[which]))
                writer.change(made[which], time, text)
            else:
                writer.change(made[which], time, random.getrandbits(widths[which]))
            if random.random() < 0.05:
                writer.change(real, time, random.random())
    names = [f"top.unit{i % 3}.s{i}" for i, w in enumerate(widths) if w <= 64]
    return Written(stream.getvalue().encode(), names)


def by_pyvcd(data: bytes) -> dict[str, Levels]:
    """Read with `vcd.reader.tokenize`, which gives values as written; they are extended here."""
    scope: list[str] = []
    declared: dict[str, tuple[str, int]] = {}
    raw: dict[str, list[tuple[int, str]]] = {}
    time = 0
    for token in tokenize(io.BytesIO(data)):
        match token.kind:
            case TokenKind.SCOPE:
                scope.append(token.scope.ident)
            case TokenKind.UPSCOPE:
                scope.pop()
            case TokenKind.VAR:
                declared[token.var.id_code] = (".".join([*scope, token.var.reference]), token.var.size)
            case TokenKind.CHANGE_TIME:
                time = token.time_change
            case TokenKind.CHANGE_SCALAR:
                raw.setdefault(token.scalar_change.id_code, []).append((time, token.scalar_change.value))
            case TokenKind.CHANGE_VECTOR:
                value = token.vector_change.value
                text = value if isinstance(value, str) else format(value, "b")
                raw.setdefault(token.vector_change.id_code, []).append((time, text))
    return {
        path: naive_reader.as_levels(naive_reader.canonical(raw.get(code, []), width))
        for code, (path, width) in declared.items()
    }


def by_pywellen(data: bytes) -> dict[str, Levels]:
    """Read with pywellen, which extends, and gives numbers where all bits are 0 or 1."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "dump.vcd"
        path.write_bytes(data)
        found: dict[str, Levels] = {}
        for variable in pywellen.Waveform(str(path)).all_vars():
            if not variable.is_real:
                texts = [(t, v if isinstance(v, str) else format(v, "b")) for t, v in variable.tv]
                canonical = naive_reader.canonical(texts, variable.bitwidth)
                found[variable.full_name.partition("[")[0]] = naive_reader.as_levels(canonical)
        return found


@settings(max_examples=120, deadline=None)
@given(dumps(), st.sampled_from([1, 2, 17, 300, 2**18]))
def test_a_generated_dump_reads_as_three_other_readers_read_it(written: Written, chunk_bytes: int) -> None:
    found = read_changes(io.BytesIO(written.data), written.names, chunk_bytes=chunk_bytes)
    slow, pyvcd, wellen = naive_reader.read(written.data), by_pyvcd(written.data), by_pywellen(written.data)
    assert found.timescale == Timescale(10, "ps")
    assert found.end_time == slow.end_time
    for name in written.names:
        got = levels(found.signals[name])
        assert got == naive_reader.as_levels(slow.signals[name])
        assert got == pyvcd[name]
        assert got == wellen[name]


@settings(max_examples=30, deadline=None)
@given(dumps())
def test_the_header_of_a_generated_dump_lists_what_pyvcd_lists(written: Written) -> None:
    header = read_header(io.BytesIO(written.data))
    listed = [t.var for t in tokenize(io.BytesIO(written.data)) if t.kind is TokenKind.VAR]
    assert [(v.name, v.kind, v.width, v.code.decode()) for v in header.variables] == [
        (v.reference, v.type_.value, v.size, v.id_code) for v in listed
    ]


def padded(words: list[bytes]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return words behind each other in a padded buffer, with their starts and ends."""
    ends = PAD + np.cumsum([len(w) + 1 for w in words]) - 1
    buffer = np.frombuffer(b" " * PAD + b" ".join(words) + b" " * PAD, dtype=np.uint8)
    return buffer, ends - [len(w) for w in words], ends


@settings(max_examples=200, deadline=None)
@given(st.lists(st.text("0123456789", max_size=24) | st.text("0123456789 /:;+-ax\x80é", max_size=20), min_size=1))
def test_numbers_are_decoded_as_python_decodes_them(texts: list[str]) -> None:
    words = [t.encode() for t in texts]
    value, wrong = decode_times(*padded(words))
    for word, got, bad in zip(words, value.tolist(), wrong.tolist(), strict=True):
        number = int(word) if word.isdigit() else 2**63
        assert (got, bad) == ((number, False) if number < 2**63 else (0, True))


@settings(max_examples=200, deadline=None)
@example([("Lb0", 3), ("0bL", 1), ("0B1h", 2)])  # a prefix is a prefix before weak levels are read, not after
@given(st.lists(st.tuples(st.text("01", max_size=70) | st.text("01xXzZuUwWhHlL-2b", max_size=66), st.integers(1, 64))))
def test_bits_are_decoded_as_python_decodes_them(pairs: list[tuple[str, int]]) -> None:
    pairs = [("1", 1), *pairs]
    buffer, start, end = padded([t.encode() for t, _ in pairs])
    found = decode_levels(buffer, start, end, np.array([w for _, w in pairs]))
    for i, (text, width) in enumerate(pairs):
        digits = text.lower()
        digits = digits[2:] if digits.startswith("0b") and len(digits) > 2 else digits
        digits = digits.replace("h", "1").replace("l", "0")
        wrong = not 1 <= len(digits) <= width or not set(digits) <= set("01xzuw-")
        unknown = not wrong and not set(digits) <= {"0", "1"}
        value = 0 if wrong or unknown else int(digits, 2)
        assert bool(found.wrong[i]) == wrong
        assert bool(found.unknown[i]) == unknown
        assert wrong or int(found.value[i]) == value


codes = st.text([chr(c) for c in range(33, 127)], min_size=1, max_size=10).map(str.encode)


@settings(max_examples=200, deadline=None)
@given(st.dictionaries(codes, st.integers(NOT_KEPT, 100), min_size=1, max_size=30), st.lists(codes), st.integers(1, 10))
def test_codes_are_looked_up_as_a_dictionary_looks_them_up(
    slots: dict[bytes, int], asked: list[bytes], most: int
) -> None:
    slots = {code[:most]: slot for code, slot in slots.items()}
    words = [*slots, *asked, *(code[:-1] for code in slots), *(code + b"!" for code in slots), b"\xc3\xa9", b"!\xa9"]
    found = CodeTable(slots).slots(*padded(words))
    assert found.tolist() == [slots.get(word, UNDECLARED) for word in words]
