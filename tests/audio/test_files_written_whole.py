"""A result is there whole, or not at all."""

from __future__ import annotations

import os
import resource
import subprocess
import sys
from pathlib import Path

import pytest

from psgmodel.errors import OutputError
from psgmodel.output import whole_file, write_bytes_whole, write_text_whole


def test_text_and_bytes_are_written_as_given(tmp_path: Path) -> None:
    write_text_whole(tmp_path / "a.txt", "µ\nb\n")
    assert (tmp_path / "a.txt").read_bytes() == b"\xc2\xb5\nb\n"
    write_bytes_whole(str(tmp_path / "b"), b"\r\n\0")
    assert (tmp_path / "b").read_bytes() == b"\r\n\0"
    assert sorted(os.listdir(tmp_path)) == ["a.txt", "b"]


@pytest.mark.parametrize("error", [ValueError("x"), KeyboardInterrupt(), SystemExit(3), OSError(28, "No space")])
def test_an_interrupted_write_leaves_the_old_file_and_nothing_else(tmp_path: Path, error: BaseException) -> None:
    target = tmp_path / "out.txt"
    target.write_text("old")

    def write_half() -> None:
        with whole_file(target) as temporary:
            temporary.write_text("half of the n")
            raise error

    expected = OutputError if isinstance(error, OSError) else type(error)
    with pytest.raises(expected):
        write_half()
    assert target.read_text() == "old"
    assert os.listdir(tmp_path) == ["out.txt"]


def test_the_temporary_file_lies_beside_the_target_with_its_suffix(tmp_path: Path) -> None:
    with whole_file(tmp_path / "tune.wav") as temporary:
        assert temporary.parent == tmp_path
        assert temporary.suffix == ".wav"
        assert not (tmp_path / "tune.wav").exists()
        temporary.write_bytes(b"1")
    assert (tmp_path / "tune.wav").read_bytes() == b"1"


def test_two_writes_at_once_do_not_meet(tmp_path: Path) -> None:
    with whole_file(tmp_path / "a") as one, whole_file(tmp_path / "a") as two:
        assert one != two
        one.write_text("1")
        two.write_text("2")
    assert (tmp_path / "a").read_text() == "1"


def test_a_file_gets_the_permissions_that_the_user_asks_new_files_to_have(tmp_path: Path) -> None:
    old = os.umask(0o027)
    try:
        write_text_whole(tmp_path / "a", "x")
    finally:
        os.umask(old)
    assert (tmp_path / "a").stat().st_mode & 0o777 == 0o640


def test_a_link_stays_and_its_target_is_replaced(tmp_path: Path) -> None:
    (tmp_path / "real").write_text("old")
    (tmp_path / "link").symlink_to("real")
    write_text_whole(tmp_path / "link", "new")
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "real").read_text() == "new"


def test_a_missing_folder_is_told_with_a_hint(tmp_path: Path) -> None:
    with pytest.raises(
        OutputError, match=r"cannot write .*/no/a\.txt: No such file or directory \(make the folder first"
    ):
        write_text_whole(tmp_path / "no" / "a.txt", "x")


def test_a_folder_a_device_and_a_file_used_as_a_folder_are_refused(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"it is a folder \(name a file inside it"):
        write_text_whole(tmp_path, "x")
    with pytest.raises(OutputError, match=r"cannot write /dev/null: it is no ordinary file"):
        write_text_whole("/dev/null", "x")
    (tmp_path / "f").write_text("")
    with pytest.raises(OutputError, match=r"Not a directory \(a part of the path is a file, not a folder"):
        write_text_whole(tmp_path / "f" / "a", "x")


def test_a_folder_that_may_not_be_written_to_is_told(tmp_path: Path) -> None:
    # Asked as an ordinary user where the tests run as root, to whom everything is writable.
    locked = tmp_path / "locked"
    locked.mkdir()
    locked.chmod(0o555)
    for folder in (tmp_path, *list(tmp_path.parents)[:2]):
        folder.chmod(0o755)
    code = (
        "import os, sys\n"
        "from psgmodel.output import write_text_whole\n"
        "from psgmodel.errors import OutputError\n"
        "os.getuid() or os.setuid(65534)\n"
        "try: write_text_whole(sys.argv[1], 'x')\n"
        "except OutputError as e: print(e)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(locked / "a.txt")], capture_output=True, text=True, check=True
    )
    assert "a.txt: Permission denied (choose a folder that you may write to)" in done.stdout


def test_a_write_that_the_system_stops_half_way_leaves_nothing(tmp_path: Path) -> None:
    # A limit on the size of files stands in for a full disk: the system refuses in the middle of a write.
    def limit() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (50_000, 50_000))

    code = (
        "import signal, sys; signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        "from psgmodel.output import write_bytes_whole\n"
        "from psgmodel.errors import OutputError\n"
        "try: write_bytes_whole(sys.argv[1], bytes(100_000))\n"
        "except OutputError as e: print(e)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path / "a.bin")],
        capture_output=True,
        text=True,
        check=True,
        preexec_fn=limit,
    )
    assert done.stdout.strip().endswith("a.bin: File too large")
    assert os.listdir(tmp_path) == []
