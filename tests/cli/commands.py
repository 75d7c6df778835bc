"""Run commands as a user does: as processes, in an empty folder, on a terminal or in a pipe.

Stage: tests. In: the words after `psgmodel`. Out: exit status and what the two streams got.
"""

from __future__ import annotations

import contextlib
import errno
import io
import json
import os
import pty
import signal
import subprocess
import sys
import threading
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

from psgmodel.cli.entry import main

PATCHES = Path(__file__).parents[2] / "patches"
CHIP = str(PATCHES / "linnet.toml")
TINY = str(PATCHES / "tiny.csv")
JINGLE = str(PATCHES / "jingle.csv")
GOLDEN = Path(__file__).parents[1] / "golden" / "cli"
NO_SOUND = Path(__file__).with_name("no-sound.conf")
"""ALSA's own configuration with its default devices taken out: a machine without a sound card."""

COMMAND = [sys.executable, "-m", "psgmodel"]
AT_ONCE = [
    sys.executable,
    "-c",
    "import psgmodel.cli.progress as p; p._SHOW_AFTER_S, p._REFRESH_S = -1.0, 0.0; "
    "from psgmodel.cli.entry import main; raise SystemExit(main())",
]
"""The command with a bar that shows every step from the first, however fast the work is done."""


class Finished(NamedTuple):
    """A finished command."""

    status: int
    out: str
    err: str

    @property
    def document(self) -> Any:
        """What `--json` printed; raises where that is not one JSON document."""
        return json.loads(self.out)


def environment(extra: Mapping[str, str] | None = None) -> dict[str, str]:
    """Return an environment without what would change colours; the sound system finds no device in it."""
    plain = {k: v for k, v in os.environ.items() if k not in ("NO_COLOR", "TERM", "COLUMNS", "PYTHONPATH")}
    plain.update({"ALSA_CONFIG_PATH": str(NO_SOUND), "TERM": "xterm", "PYTHONIOENCODING": "utf-8"})
    return {**plain, **(extra or {})}


def start(words: Sequence[str], folder: Path, extra: Mapping[str, str] | None = None) -> subprocess.Popen[str]:
    """Start a command with both streams in pipes."""
    return subprocess.Popen(
        [*COMMAND, *words],
        cwd=folder,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=environment(extra),
    )


def run(words: Sequence[str], folder: Path, extra: Mapping[str, str] | None = None) -> Finished:
    """Run a command with both streams in pipes."""
    process = start(words, folder, extra)
    out, err = process.communicate(timeout=120)
    return Finished(process.returncode, out, err)


def run_here(words: Sequence[str], folder: Path) -> Finished:
    """Run a command in this process, with both streams caught: much quicker, for what needs no process of its own."""
    out, err = io.StringIO(), io.StringIO()
    before = signal.getsignal(signal.SIGTERM)
    try:
        with contextlib.chdir(folder), contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            status = main(list(words))
    finally:
        signal.signal(signal.SIGTERM, before)
    return Finished(status, out.getvalue(), err.getvalue())


def run_on_terminal(
    words: Sequence[str], folder: Path, extra: Mapping[str, str] | None = None, *, command: Sequence[str] = COMMAND
) -> Finished:
    """Run a command with each stream on a terminal of its own."""
    (out_master, out_slave), (err_master, err_slave) = pty.openpty(), pty.openpty()
    process = subprocess.Popen(
        [*command, *words],
        cwd=folder,
        stdin=subprocess.DEVNULL,
        stdout=out_slave,
        stderr=err_slave,
        env=environment(extra),
    )
    os.close(out_slave)
    os.close(err_slave)
    texts: dict[int, str] = {}
    readers = [
        threading.Thread(target=lambda m=master: texts.__setitem__(m, _drained(m)))
        for master in (out_master, err_master)
    ]
    for reader in readers:
        reader.start()
    status = process.wait(timeout=120)
    for reader in readers:
        reader.join(timeout=10)
    return Finished(status, texts[out_master], texts[err_master])


def _drained(master: int) -> str:
    parts: list[bytes] = []
    while True:
        try:
            part = os.read(master, 65_536)
        except OSError as error:
            if error.errno != errno.EIO:
                raise
            part = b""
        if not part:
            os.close(master)
            return b"".join(parts).decode().replace("\r\n", "\n")
        parts.append(part)
