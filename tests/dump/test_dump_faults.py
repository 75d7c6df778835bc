"""Broken dumps are refused with place, what was found, what would be accepted, and how far the dump is good."""

from __future__ import annotations

import gzip
import io
import re
from pathlib import Path

import pytest

from psgmodel.dump import Dump, choose, read_changes, read_header
from psgmodel.errors import DumpError
from tests.dump.dump_text import header, read, two_signals

START = len(two_signals(""))
LINE = two_signals("").count(b"\n") + 1


def body_fault(body: str, chunk_bytes: int = 2**18) -> DumpError:
    with pytest.raises(DumpError) as caught:
        read(two_signals(body), chunk_bytes=chunk_bytes)
    return caught.value


# each: body, byte within the body, line within the body, last good time, message (without place)
FAULTS = {
    "an undeclared scalar code": (
        *("#0\n0!\n#5\n1?\n", 9, 3, 0),
        'identifier code "?" of the change "1?" is not declared in the header; complete up to time 0',
    ),
    "an undeclared vector code": (
        *("#0\n0!\n#5\nb1 ?\n", 12, 3, 0),
        'identifier code "?" is not declared in the header; complete up to time 0',
    ),
    "a value with a blank before its code": (
        *("#0\n0 !\n", 3, 1, None),
        'value "0" without an identifier code directly behind it; no time stamp is complete',
    ),
    "time that runs backwards": (
        *("#0\n0!\n#7\n1!\n#5\n0!\n", 12, 4, 7),
        "time runs backwards: 5 after 7; complete up to time 7",
    ),
    "a time stamp without digits": (
        *("#0\n0!\n#\n", 6, 2, 0),
        'time stamp "#"; expected # and a whole number below 2**63; complete up to time 0',
    ),
    "a negative time stamp": (
        *("#-5\n0!\n", 0, 0, None),
        'time stamp "#-5"; expected # and a whole number below 2**63; no time stamp is complete',
    ),
    "a time stamp past 63 bits": (
        *(f"#0\n#{2**63}\n", 3, 1, 0),
        'time stamp "#9223372036854775808"; expected # and a whole number below 2**63; complete up to time 0',
    ),
    "a time stamp with a fraction": (
        *("#0\n#1.5\n", 3, 1, 0),
        'time stamp "#1.5"; expected # and a whole number below 2**63; complete up to time 0',
    ),
    "a bare dollar": (
        *("#0\n0!\n$\n#5\n", 6, 2, None),
        'unknown keyword "$" in the body; no time stamp is complete',
    ),
    "an unknown keyword": (
        *("#0\n0!\n$dumpof\n#5\n", 6, 2, None),
        'unknown keyword "$dumpof" in the body; no time stamp is complete (did you mean "$dumpoff"?)',
    ),
    "a word that is nothing": (
        *("#0\n0!\nhello\n#5\n", 6, 2, None),
        'identifier code "ello" of the change "hello" is not declared in the header; no time stamp is complete',
    ),
    "a character that begins nothing": (
        *("#0\n0!\n?!\n", 6, 2, None),
        'found "?!"; expected a value change, a time stamp (#...) or a $ keyword; no time stamp is complete',
    ),
    "a port value of an extended dump": (
        *("#0\npD 6 6 <0\n", 3, 1, None),
        'found "pD"; expected a value change, a time stamp (#...) or a $ keyword; no time stamp is complete '
        "(extended (port) dumps are not read)",
    ),
    "too many digits": (
        *('#0\nb10101 "\n', 3, 1, None),
        'value "b10101"; expected b and 1 to 4 of 0, 1, x, z; no time stamp is complete '
        "(nine-valued U, W, H, L and - are read too)",
    ),
    "digits that are no states": (
        *('#0\nb1021 "\n', 3, 1, None),
        'value "b1021"; expected b and 1 to 4 of 0, 1, x, z; no time stamp is complete '
        "(nine-valued U, W, H, L and - are read too)",
    ),
    "no digits": (
        *('#0\nb "\n', 3, 1, None),
        'value "b"; expected b and 1 to 4 of 0, 1, x, z; no time stamp is complete '
        "(nine-valued U, W, H, L and - are read too)",
    ),
    "a real value of a vector": (
        *('#0\nr1.5 "\n', 3, 1, None),
        'value "r1.5" of a signal that was declared as bits; no time stamp is complete '
        "(a real or string value has no bits)",
    ),
    "bytes of no text": (
        *("#0\n0!\n\0\0\0\0", 6, 2, None),
        'the dump ends in the middle of a line: found "\\x00\\x00\\x00\\x00"; expected a value change, a time stamp '
        "(#...) or a $ keyword; no time stamp is complete",
    ),
    "a 0b prefix without a value before its code": (
        *("#0\n0b101!\n", 3, 1, None),
        'identifier code "b101!" of the change "0b101!" is not declared in the header; no time stamp is complete '
        '(write "b10 code", not "0b10 code")',
    ),
    "a dump that ends behind a vector value": (
        *("#0\n0!\n#4\nb101\n", 9, 3, 0),
        'the dump ends behind the value "b101", without its code; complete up to time 0',
    ),
    "a dump that ends within a section": (
        *("#0\n0!\n#4\n$dumpall\n0!\n", 21, 5, 0),
        f"the dump ends within $dumpall; complete up to time 0 (opened at <stream>:{LINE + 3} (byte {START + 9}))",
    ),
    "a dump that ends within a comment": (
        *("#0\n0!\n#4\n$comment 1! #9\n", 24, 4, 0),
        f"the dump ends within $comment; complete up to time 0 (opened at <stream>:{LINE + 3} (byte {START + 9}))",
    ),
}


@pytest.mark.parametrize("fault", FAULTS)
@pytest.mark.parametrize("chunk_bytes", [1, 2, 11, 2**18])
def test_a_broken_body_is_refused_with(fault: str, chunk_bytes: int) -> None:
    body, byte, line, good, message = FAULTS[fault]
    error = body_fault(body, chunk_bytes)
    assert str(error) == f"<stream>:{LINE + line} (byte {START + byte}): {message}"
    assert error.last_good_time == good


@pytest.mark.parametrize("chunk_bytes", [1, 2, 11, 2**18])
def test_a_time_stamp_that_is_repeated_is_not_complete_before_a_later_one(chunk_bytes: int) -> None:
    assert body_fault("#3\n0!\n#5\n1!\n#5\n0!\n#5\n?\n", chunk_bytes).last_good_time == 3
    assert body_fault("#3\n0!\n#5\n1!\n#5\n0!\n#6\n?\n", chunk_bytes).last_good_time == 5
    assert body_fault("#3\n0!\n#3\n?\n", chunk_bytes).last_good_time is None


def test_the_first_of_several_faults_is_told() -> None:
    assert "time runs backwards: 1 after 2" in str(body_fault('#2\n0!\n#1\n1?\nb9 "\n$nothing $end\n#0\n'))
    assert 'value "b9"' in str(body_fault('#2\n0!\nb9 "\n$nothing $end\n#1\n1?\n#0\n'))
    assert '"$nothing"' in str(body_fault('#2\n0!\n$nothing $end\nb9 "\n#1\n1?\n#0\n'))


HEADER_FAULTS = {
    "an empty file": ("", "<stream>:1 (byte 0): the file is empty"),
    "a file of blanks": (" \n\n", "<stream>:3 (byte 3): the dump ends in its header: no $enddefinitions"),
    "a file that is something else": (
        "hello world\n",
        '<stream>:1 (byte 0): found "hello" where a declaration keyword ($...) should stand',
    ),
    "no end of the definitions": (
        "$scope module t $end\n#0\n",
        '<stream>:2 (byte 21): found "#0" where a declaration keyword ($...) should stand '
        "($enddefinitions $end is missing before the first time stamp)",
    ),
    "a section before the end of the definitions": (
        "$dumpvars $end\n",
        "<stream>:1 (byte 0): $dumpvars before $enddefinitions (the header has no end)",
    ),
    "a header that stops": (
        "$date now $end\n",
        "<stream>:2 (byte 15): the dump ends in its header: no $enddefinitions",
    ),
    "a header that stops within a declaration": (
        "$date now $end\n$var wire",
        "<stream>:2 (byte 24): the dump ends in its header, within $var (opened at <stream>:2 (byte 15))",
    ),
    "end of the definitions that is not closed": (
        "$enddefinitions\n#0\n",
        "<stream>:2 (byte 16): $enddefinitions is not closed by $end",
    ),
    "a timescale of 2 ns": (
        "$timescale 2 ns $end\n",
        '<stream>:1 (byte 0): timescale "2 ns"; expected 1, 10 or 100 and one of s, ms, us, ns, ps, fs',
    ),
    "a timescale of attoseconds": (
        "$timescale 1as $end\n",
        '<stream>:1 (byte 0): timescale "1as"; expected 1, 10 or 100 and one of s, ms, us, ns, ps, fs',
    ),
    "two timescales": (
        "$timescale 1 ns $end $timescale 1 ps $end\n",
        "<stream>:1 (byte 21): a second timescale, 1 ps, after 1 ns",
    ),
    "a variable without a name": (
        "$var wire 1 ! $end\n",
        '<stream>:1 (byte 0): declaration "$var wire 1 !" is too short; expected: $var type width code name $end',
    ),
    "a code that is the end keyword": (
        "$var wire 4 $end q $end\n",
        '<stream>:1 (byte 0): declaration "$var wire 4" is too short; expected: $var type width code name $end',
    ),
    "a width that is no number": (
        "$var wire four ! a $end\n",
        '<stream>:1 (byte 0): width "four" of a variable; expected a whole number of bits',
    ),
    "a code outside printable ASCII": (
        "$var wire 1 \u00e9 a $end\n",
        '<stream>:1 (byte 0): identifier code "\u00e9"; expected printable ASCII (33 to 126)',
    ),
    "a scope without a type": (
        "$scope $end\n",
        "<stream>:1 (byte 0): $scope without a type; expected: $scope type name $end",
    ),
    "one scope end too many": (
        "$scope module t $end $upscope $end $upscope $end\n",
        "<stream>:1 (byte 35): $upscope where no scope is open",
    ),
    "a misspelt keyword that nobody closes": (
        "scope module t $end\n",
        '<stream>:1 (byte 0): found "scope" where a declaration keyword ($...) should stand (did you mean "$scope"?)',
    ),
}


@pytest.mark.parametrize("fault", HEADER_FAULTS)
@pytest.mark.parametrize("chunk_bytes", [1, 3, 2**18])
def test_a_broken_header_is_refused_with(fault: str, chunk_bytes: int) -> None:
    text, message = HEADER_FAULTS[fault]
    with pytest.raises(DumpError) as caught:
        read(text, chunk_bytes=chunk_bytes)
    assert str(caught.value) == message
    assert caught.value.last_good_time is None


def test_a_binary_wave_file_is_told_from_text() -> None:
    with pytest.raises(DumpError, match="this looks like a binary wave file; make the simulator write VCD text"):
        read(b"\x00\x00\x00\x01\x02FST" + bytes(300))


def test_a_word_without_end_does_not_fill_the_memory() -> None:
    with pytest.raises(DumpError, match=re.escape("a word of more than 1048576 bytes")):
        read(two_signals("#0\n0!\nb" + "1" * 3_000_000))
    with pytest.raises(DumpError, match=re.escape("a word of more than 1048576 bytes in the header")):
        read("$comment " + "1" * 3_000_000)


def test_a_missing_file_and_a_folder_are_refused(tmp_path: Path) -> None:
    with pytest.raises(DumpError, match=r"none\.vcd: cannot be opened: No such file or directory"):
        read_header(tmp_path / "none.vcd")
    with pytest.raises(DumpError, match="cannot be opened: Is a directory"):
        read_header(tmp_path)


def test_a_text_stream_is_refused() -> None:
    with pytest.raises(DumpError, match="this is a text stream; a binary stream is needed"):
        read_header(io.StringIO("$date $end"))


def test_the_body_can_be_streamed_only_once() -> None:
    with Dump(io.BytesIO(two_signals("#0\n0!\n"))) as dump:
        selection = choose(dump.header, ["a"])
        assert len(list(dump.blocks(selection))) > 0
        with pytest.raises(DumpError, match="the body of a dump can be read once; open it again"):
            list(dump.blocks(selection))


def test_a_compressed_dump_is_read_like_a_plain_one_whatever_its_name(tmp_path: Path) -> None:
    text = two_signals("#0\n0!\n#5\n1!\n")
    for name in ("dump.vcd.gz", "dump.vcd"):
        path = tmp_path / name
        path.write_bytes(gzip.compress(text[:40]) + gzip.compress(text[40:]))
        assert read_changes(path, ["a"]).signals["t.a"].time.tolist() == [0, 5]


def test_a_cut_compressed_dump_tells_how_far_it_is_good(tmp_path: Path) -> None:
    packed = gzip.compress(two_signals("".join(f"#{t}\n{t % 2}!\n" for t in range(20000))))
    path = tmp_path / "cut.vcd.gz"
    path.write_bytes(packed[: len(packed) // 2])
    with pytest.raises(DumpError, match="the compressed stream is cut: its end marker is missing; complete up to") as c:
        read_changes(path, ["a"])
    assert c.value.last_good_time is not None
    assert 5000 < c.value.last_good_time < 20000


def test_a_damaged_compressed_dump_is_refused(tmp_path: Path) -> None:
    packed = bytearray(gzip.compress(two_signals("".join(f"#{t}\n{t % 2}!\n" for t in range(2000)))))
    packed[-6] ^= 1
    path = tmp_path / "bad.vcd.gz"
    path.write_bytes(packed)
    with pytest.raises(DumpError, match=r"the compressed stream is damaged: .*; complete up to time 1998"):
        read_changes(path, ["a"])


def test_a_compressed_header_that_is_cut_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "cut.vcd.gz"
    path.write_bytes(gzip.compress(header("wire 1 ! a").encode())[:30])
    with pytest.raises(DumpError, match="the compressed stream is cut: its end marker is missing, within the header"):
        read_header(path)
