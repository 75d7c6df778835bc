"""What the test run can be told."""

from __future__ import annotations

import pytest


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--kept-faults",
        metavar="FOLDER",
        help="where `python -m tests.quality.fault_runs --keep FOLDER` kept its outcomes; faults without one are run",
    )
