"""The bar of long work, by a clock that the test moves: when it shows, how often, what it says, and that it goes."""

from __future__ import annotations

import io

import pytest

from psgmodel.cli import progress as progress_module
from psgmodel.cli.progress import progress
from psgmodel.cli.screen import Screen


class Terminal(io.StringIO):
    """A stream that says that a person looks on."""

    def isatty(self) -> bool:
        return True


class Clock:
    """Seconds that pass when the test says so."""

    def __init__(self) -> None:
        self.now = 1000.0

    def monotonic(self) -> float:
        return self.now


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    moved = Clock()
    monkeypatch.setattr(progress_module, "time", moved)
    return moved


def shown(terminal: Terminal) -> list[str]:
    """Return the lines that were drawn, one over the other."""
    return [line for line in terminal.getvalue().split("\r") if line.strip()]


def test_work_of_less_than_three_tenths_of_a_second_shows_no_bar(clock: Clock) -> None:
    terminal = Terminal()
    with progress(Screen(io.StringIO(), terminal, {}), "reading x.vcd", 100) as bar:
        for done in range(29):
            clock.now = 1000.0 + done / 100
            bar.update(done)
    assert terminal.getvalue() == ""


def test_a_bar_shows_after_that_at_most_ten_times_a_second_and_says_how_long_it_takes_yet(clock: Clock) -> None:
    terminal = Terminal()
    with progress(Screen(io.StringIO(), terminal, {}), "reading x.vcd", 1000) as bar:
        for done in range(501):
            clock.now = 1000.0 + done / 100
            bar.update(done)
    lines = shown(terminal)
    assert 40 <= len(lines) <= 48
    assert all(line.startswith("reading x.vcd  ") for line in lines)
    # Half of the work in five seconds: as much again is left.
    assert lines[-1].rstrip() in {f"reading x.vcd  {'█' * 15}{'░' * 15}   {p} %  5 s left" for p in (49, 50)}


def test_whatever_ends_the_work_the_line_is_clean_afterwards(clock: Clock) -> None:
    terminal = Terminal()

    def stopped() -> None:
        with progress(Screen(io.StringIO(), terminal, {}), "reading x.vcd", 100) as bar:
            clock.now += 1
            bar.update(50)
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        stopped()
    (line,) = shown(terminal)
    assert terminal.getvalue() == f"\r{line}\r{' ' * len(line + '^C')}\r"


def test_where_no_terminal_looks_on_nothing_is_drawn(clock: Clock) -> None:
    pipe = io.StringIO()
    with progress(Screen(io.StringIO(), pipe, {}), "reading x.vcd", 100) as bar:
        clock.now += 1
        bar.update(50)
    assert pipe.getvalue() == ""
