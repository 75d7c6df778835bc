"""A large dump is compared piece by piece: the verdict is that of the whole, and memory does not grow with the dump."""

from __future__ import annotations

import io
import tracemalloc
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from psgmodel.comparison import Status, compare
from psgmodel.comparison.departed import Scene
from psgmodel.comparison.kept import Bounds
from psgmodel.comparison.pieces import LARGE_BYTES, compare_in_pieces, is_large
from psgmodel.dump.observe import Observation, Piece, observe
from psgmodel.dump.signal_map import SignalMap, parse_map
from psgmodel.engine import run_pieces
from psgmodel.reglog import RegisterLog, make_log
from tests.comparison.dump_writer import write_dump
from tests.comparison.short_run import CHIP, CYCLES, NAMES, TRACE, WRITES, log_of, signals_of

GRID = parse_map("[clock]\nperiod = 162\nphase = 81\n", CHIP)
SIZES = [1, 2, 7, 100, 10**9]


@pytest.fixture(scope="module", params=[True, False], ids=["clock", "grid"])
def dump(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, SignalMap | None]:
    path = tmp_path_factory.mktemp("pieces") / "dump.vcd"
    write_dump(path, signals_of(TRACE), WRITES, CYCLES, clock=request.param)
    return path, None if request.param else GRID


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("given", [False, True])
def test_pieces_of_any_size_give_the_verdict_of_the_whole(
    dump: tuple[Path, SignalMap | None], size: int, given: bool
) -> None:
    path, signal_map = dump
    log = log_of(WRITES) if given else None
    whole = compare(CHIP, str(path), log=log, signal_map=signal_map, whole=True)
    assert whole.status is Status.AGREE
    found = compare_in_pieces(CHIP, str(path), log=log, signal_map=signal_map, whole=True, piece_entries=size)
    assert found is not None
    assert found.seen is None
    assert found.comparison.to_json() == whole.to_json()


def test_the_pieces_of_a_dump_are_its_levels_cut(dump: tuple[Path, SignalMap | None]) -> None:
    path, signal_map = dump
    whole = observe(str(path), CHIP, signal_map)
    at = 0
    for chunk, size in ((1000, 1), (2**18, 50)):
        at, seen = 0, {}
        for piece in pieces_of(path, signal_map, chunk, size):
            assert piece.start == at
            at = piece.end
            for s in piece.signals:
                seen[s.name] = s.steps if s.name not in seen else seen[s.name].then(s.steps)
            assert piece.log is not None
            assert whole.log is not None
            assert piece.log == whole.log.with_end(piece.end)
        assert at == whole.end
        assert seen == {s.name: s.steps for s in whole.signals}


def pieces_of(path: Path, signal_map: SignalMap | None, chunk: int, size: int) -> list[Piece]:
    found: list[Piece] = []
    observe(str(path), CHIP, signal_map, chunk_bytes=chunk, each=found.append, piece_entries=size)
    return found


@pytest.mark.parametrize("size", SIZES)
def test_one_wrong_level_anywhere_is_not_overlooked(tmp_path: Path, size: int) -> None:
    right = signals_of(TRACE)
    rng = np.random.default_rng(size % 1000)
    for name in ("level_a", "level_n", "out_left"):
        changes = list(right[name])
        for at in {0, len(changes) - 1, *rng.integers(0, len(changes), 2).tolist()}:
            cycle, level = changes[at]
            assert isinstance(level, int)
            for wrong in (level ^ 1, "x"):
                one_off = [*changes[:at], (cycle, wrong), *changes[at + 1 :]]
                path = write_dump(tmp_path / "d.vcd", {**right, name: one_off}, WRITES, CYCLES, clock=False)
                found = compare_in_pieces(CHIP, str(path), signal_map=GRID, piece_entries=size)
                assert found is not None
                assert found.comparison.status is Status.DIFFER
                assert isinstance(found.seen, Observation)  # so small a dump is kept as a whole
                assert found.comparison.to_json() == compare(CHIP, found.seen).to_json()


def test_what_a_piece_cannot_tell_is_left_to_the_whole(tmp_path: Path) -> None:
    right = signals_of(TRACE)
    again = write_dump(tmp_path / "again.vcd", right, WRITES, CYCLES, reset_again=9000)
    assert compare_in_pieces(CHIP, str(again)) is None
    pin = write_dump(tmp_path / "pin.vcd", {**right, "out_left": [(0, 0)]}, WRITES, CYCLES, widths={"out_left": 1})
    assert compare_in_pieces(CHIP, str(pin)) is None
    heard = parse_map('[recordings]\nleft = { file = "left.wav", channel = 1 }\n', CHIP)
    assert compare_in_pieces(CHIP, str(again), signal_map=heard) is None
    bare = write_dump(tmp_path / "bare.vcd", right, WRITES, CYCLES, bus=False)
    found = compare_in_pieces(CHIP, str(bare), log=log_of(WRITES, 15_000), piece_entries=10)
    assert found is not None
    assert found.comparison.to_json() == compare(CHIP, str(bare), log=log_of(WRITES, 15_000)).to_json()
    assert any("goes on for 5000 cycles past the log" in note for note in found.comparison.notes)


def test_compare_takes_pieces_by_itself_where_a_dump_is_large(
    dump: tuple[Path, SignalMap | None], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, signal_map = dump
    whole = compare(CHIP, str(path), signal_map=signal_map)
    assert not is_large(str(path))
    hole = tmp_path / "hole.vcd"
    with hole.open("wb") as file:
        file.truncate(LARGE_BYTES)
    assert is_large(hole)
    monkeypatch.setattr("psgmodel.comparison.pieces.LARGE_BYTES", 1)
    monkeypatch.setattr("psgmodel.comparison.comparing.compare_whole", None)  # what compares the whole
    assert compare(CHIP, str(path), signal_map=signal_map).to_json() == whole.to_json()


class Simulated(io.RawIOBase):
    """A dump of dense noise, written by the model while it is read."""

    def __init__(self, seconds: float) -> None:
        self._parts = self._texts(seconds)
        self._rest = b""

    @staticmethod
    def _texts(seconds: float) -> Iterator[bytes]:
        codes = dict(zip(NAMES, "abcdef", strict=True))
        widths = {"a": 5, "b": 5, "wave": 6, "noise": 5, "left": 9, "right": 9}
        yield b"$timescale 1ns $end\n$scope module bench $end\n"
        yield "".join(f"$var wire {widths[n]} {codes[n]} {NAMES[n]} $end\n" for n in NAMES).encode()
        yield b"$upscope $end\n$enddefinitions $end\n#0\n"
        log = noise_log(seconds)
        for piece in run_pieces(CHIP, log, 50_000):
            rows = [(c, n, v) for n in NAMES for c, v in zip(piece[n].cycle, piece[n].level, strict=True)]
            yield "".join(f"#{10 * c + 5}\nb{v:b} {codes[n]}\n" for c, n, v in sorted(rows)).encode()
        yield f"#{10 * log.end + 5}\n".encode()

    def readinto(self, buffer: bytearray) -> int:
        self._rest = self._rest or next(self._parts, b"")
        count = min(len(buffer), len(self._rest))
        buffer[:count], self._rest = self._rest[:count], self._rest[count:]
        return count


def noise_log(seconds: float, volume: int = 0x1F) -> RegisterLog:
    # The noise at its quickest, a step each 8 cycles.
    return make_log([5, 6, 7], [0x20, 0x22, 0x26], [0x00, volume, 0x01], end=round(seconds * 6_144_000))


def peak(seconds: float, wrong: bool) -> float:
    """Return the peak of memory of one comparison, in megabytes; `wrong`: with a log that is louder all along."""
    signal_map = parse_map('[clock]\nperiod = 10\nphase = 5\n[reset]\nsignal = ""\n', CHIP)
    tracemalloc.start()
    found = compare_in_pieces(
        CHIP,
        Simulated(seconds),
        log=noise_log(seconds, 0x1E if wrong else 0x1F),
        signal_map=signal_map,
        piece_entries=2**14,
        bounds=Bounds(opening=2**12, around=2**12, entries=2**12),
    )
    high = tracemalloc.get_traced_memory()[1] / 1e6
    tracemalloc.stop()
    assert found is not None
    noise = found.comparison["noise"].exact
    assert noise is not None
    assert not noise.constant
    assert found.comparison.status is (Status.DIFFER if wrong else Status.AGREE)
    assert isinstance(found.seen, Scene) == wrong
    return high


@pytest.mark.parametrize("wrong", [False, True])
def test_comparing_a_dump_three_times_as_long_takes_no_more_memory(wrong: bool) -> None:
    peak(0.02, wrong)  # what is made once
    short, long = peak(0.03, wrong), peak(0.09, wrong)
    assert long < short + 1
