"""Results written whole or not at all.

Stage: the ground floor; every stage that writes a file goes through here. In: a path and what to write.
Out: the complete file under that path, or an `OutputError` and no trace. The bytes go to a temporary
file in the same folder, which is renamed over the path at the end and removed on any exception, a
keyboard interrupt included.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from psgmodel.errors import OutputError

_MAX_TEMPORARY = 1000


@contextmanager
def whole_file(path: str | os.PathLike[str]) -> Iterator[Path]:
    """Give a temporary path to write to; rename it to `path` when the block ends without an exception.

    A symbolic link is followed, so that the link stays and its target is replaced.

    Parameters
    ----------
    path : str or path-like
        Where the result belongs. Its folder must exist.

    Yields
    ------
    Path
        An empty file in the same folder, ending in the same suffix.

    Raises
    ------
    OutputError
        The folder is missing or cannot be written, `path` is no ordinary file, the disk is full, or any
        other `OSError` that the block raised about the temporary file.
    """
    shown = os.fspath(path)
    target = Path(os.path.realpath(shown))
    _refuse_unusual_target(shown, target)
    temporary = _new_temporary(shown, target)
    try:
        yield temporary
        _flush_to_disk(temporary)
        os.replace(temporary, target)
    except OSError as error:
        _remove(temporary)
        if error.filename is not None and Path(os.fsdecode(error.filename)) != temporary:
            raise
        raise output_error(shown, error) from error
    except BaseException:
        _remove(temporary)
        raise


def write_bytes_whole(path: str | os.PathLike[str], data: bytes) -> None:
    """Write `data` to `path`, whole or not at all.

    Raises
    ------
    OutputError
        See `whole_file`.
    """
    with whole_file(path) as temporary:
        temporary.write_bytes(data)


def write_text_whole(path: str | os.PathLike[str], text: str) -> None:
    r"""Write `text` to `path` as UTF-8 with ``\n`` line ends, whole or not at all.

    Raises
    ------
    OutputError
        See `whole_file`.
    """
    write_bytes_whole(path, text.encode("utf-8"))


def output_error(path: str | os.PathLike[str], error: OSError) -> OutputError:
    """Return the `OutputError` that names `path` and the reason the system gave."""
    reason = error.strerror or str(error) or type(error).__name__
    return OutputError(f"cannot write {os.fspath(path)}: {reason}", hint=_HINTS.get(type(error), ""))


_HINTS: dict[type[OSError], str] = {
    FileNotFoundError: "make the folder first",
    NotADirectoryError: "a part of the path is a file, not a folder",
    PermissionError: "choose a folder that you may write to",
    IsADirectoryError: "name a file inside it",
}


def _refuse_unusual_target(shown: str, target: Path) -> None:
    try:
        mode = target.stat().st_mode
    except FileNotFoundError:
        return
    except OSError as error:
        raise output_error(shown, error) from error
    if stat.S_ISDIR(mode):
        raise OutputError(f"cannot write {shown}: it is a folder", hint=_HINTS[IsADirectoryError])
    if not stat.S_ISREG(mode):
        raise OutputError(
            f"cannot write {shown}: it is no ordinary file", hint="a result replaces what it is written to"
        )


def _new_temporary(shown: str, target: Path) -> Path:
    for number in range(_MAX_TEMPORARY):
        candidate = target.with_name(f".part{number}-{target.name}")
        try:
            os.close(os.open(candidate, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666))
        except FileExistsError:
            continue
        except OSError as error:
            raise output_error(shown, error) from error
        return candidate
    raise OutputError(
        f"cannot write {shown}: {_MAX_TEMPORARY} unfinished files lie beside it",
        hint=f"remove the files named .part*-{target.name}",
    )


def _flush_to_disk(path: Path) -> None:
    """Make delayed write errors (a full disk) appear before the rename."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _remove(path: Path) -> None:
    with suppress(OSError):
        path.unlink()
