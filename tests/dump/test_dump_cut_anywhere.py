"""A dump cut at any byte is refused unless a whole dump is left; the result never depends on the size of the chunks."""

from __future__ import annotations

import gzip
import io
import random
import re

import numpy as np
import pytest

from psgmodel.dump import DumpChanges, read_changes
from psgmodel.errors import DumpError
from tests.dump import naive_reader
from tests.dump.dump_text import levels

NAMES = ["clk", "level", "b", "wide", "odd"]
CODES = {"clk": "!", "level": "#1", "b": "b", "wide": "$w", "odd": "!!"}
WIDTHS = {"clk": 1, "level": 5, "b": 3, "wide": 40, "odd": 1}


def made_dump(seed: int, times: int) -> bytes:
    """Return a dump with sections, comments, unknown values and awkward codes; lines are of every kind."""
    rng = random.Random(seed)
    lines = ["$date", "   today", "$end", "$version made for a test $end", "$timescale 10 ps $end"]
    lines += ["$scope module tb $end"]
    lines += [f"$var wire {WIDTHS[n]} {CODES[n]} {n} $end" for n in NAMES]
    lines += ["$upscope $end", "$enddefinitions $end", "#0", "$dumpvars"]
    lines += [f"x{CODES[n]}" if WIDTHS[n] == 1 else f"bx {CODES[n]}" for n in NAMES] + ["$end"]
    time = 0
    for _ in range(times):
        time += rng.choice((1, 5, 117, 99999))
        lines.append(f"#{time}")
        for name in rng.sample(NAMES, rng.randint(0, 4)):
            if WIDTHS[name] == 1:
                lines.append(rng.choice("01xz") + CODES[name])
            else:
                digits = "".join(rng.choice("0011xz" if rng.random() < 0.2 else "01") for _ in range(WIDTHS[name]))
                lines.append(f"b{digits.lstrip('0') or '0'} {CODES[name]}")
        if rng.random() < 0.1:
            lines.append("$comment #3 1! b1 $end")
        if rng.random() < 0.05:
            lines += ["$dumpall", "1!", "b1 b", "$end"]
    return ("\n".join(lines) + "\n").encode()


WHOLE = made_dump(1, 40)
LONG = made_dump(2, 400)


def is_whole(data: bytes) -> bool:
    """Tell whether bytes are a whole dump by the grammar, the line end of the last line aside."""
    words = data.split()
    end = next((i for i, w in enumerate(words[:-1]) if w == b"$enddefinitions" and words[i + 1] == b"$end"), None)
    if end is None:
        return False
    codes = {code.encode() for code in CODES.values()}
    section, i = False, end + 2
    last_time = -1
    while i < len(words):
        word = words[i]
        if word == b"$comment":
            if b"$end" not in words[i:]:
                return False
            i = words.index(b"$end", i)
        elif word in naive_reader.SECTIONS:
            section = word != b"$end"
        elif word[:1] == b"#":
            if not word[1:].isdigit() or int(word[1:]) < last_time:
                return False
            last_time = int(word[1:])
        elif word[:1] == b"b":
            i += 1
            if i == len(words) or words[i] not in codes or not re.fullmatch(b"b[01xz]+", word):
                return False
        elif not (word[:1] in b"01xz" and word[1:] in codes):
            return False
        i += 1
    return not section


def refusal(data: bytes) -> DumpError | None:
    try:
        read_changes(io.BytesIO(data), NAMES)
    except DumpError as error:
        return error
    return None


def check_cut(whole: bytes, at: int) -> None:
    data = whole[:at]
    error = refusal(data)
    assert (error is None) == is_whole(data), f"cut at {at}: {error}"
    if error is None:
        same_as_naive(read_changes(io.BytesIO(data), NAMES), data)
    elif b"$enddefinitions $end" not in data:
        assert error.last_good_time is None
    elif error.last_good_time is None:
        assert "no time stamp is complete" in str(error)
    else:
        good = error.last_good_time
        assert f"complete up to time {good}" in str(error)
        later = [m.start() for m in re.finditer(rb"(?m)^#(\d+)$", whole) if int(m.group(1)) > good]
        assert later[0] < at


def same_as_naive(found: DumpChanges, data: bytes) -> None:
    expected = naive_reader.read(data)
    assert found.end_time == expected.end_time
    for path, changes in found.signals.items():
        assert levels(changes) == naive_reader.as_levels(expected.signals[path])


def test_a_cut_at_every_byte_of_the_first_kilobyte_is_refused_or_leaves_a_whole_dump() -> None:
    for at in range(1024):
        check_cut(WHOLE, at)


def test_a_cut_at_a_hundred_random_places_is_refused_or_leaves_a_whole_dump() -> None:
    for at in random.Random(3).sample(range(len(LONG)), 100):
        check_cut(LONG, at)


def test_a_cut_in_a_compressed_dump_is_always_refused() -> None:
    packed = gzip.compress(LONG)
    for at in [
        *range(2, 40),
        *random.Random(4).sample(range(40, len(packed)), 60),
        *range(len(packed) - 12, len(packed)),
    ]:
        with pytest.raises(DumpError, match="the compressed stream is cut"):
            read_changes(io.BytesIO(packed[:at]), NAMES)


def test_a_flipped_byte_gives_a_result_or_a_dump_error_and_nothing_else() -> None:
    rng = random.Random(5)
    refused = 0
    for _ in range(400):
        data = bytearray(WHOLE)
        data[rng.randrange(len(data))] = rng.randrange(256)
        try:
            read_changes(io.BytesIO(bytes(data)), ["clk", "level", "b"])
        except DumpError:
            refused += 1
    assert refused > 100


@pytest.mark.parametrize("chunk_bytes", range(1, 400, 2))
def test_the_result_is_the_same_for_every_chunk_size(chunk_bytes: int) -> None:
    same_as_naive(read_changes(io.BytesIO(WHOLE), NAMES, chunk_bytes=chunk_bytes), WHOLE)


def test_the_result_is_the_same_for_random_chunk_sizes() -> None:
    class Ragged(io.BytesIO):
        rng = np.random.default_rng(6)

        def read(self, size: int | None = -1) -> bytes:
            return super().read(int(self.rng.integers(1, 3000)))

    expected = read_changes(io.BytesIO(LONG), NAMES)
    same_as_naive(expected, LONG)
    for _ in range(30):
        found = read_changes(Ragged(LONG), NAMES)
        assert found.end_time == expected.end_time
        assert [str(n).partition(": ")[2] for n in found.notes] == [str(n).partition(": ")[2] for n in expected.notes]
        for path, changes in found.signals.items():
            for column, wanted in zip(changes, expected.signals[path], strict=True):
                assert np.array_equal(column, wanted)
