"""Files appear whole or not at all."""

import errno
import os
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

from mockup.errors import MockupError
from mockup.files.whole import file_error, read_bytes, sha256, write_all, write_whole


def names(folder):
    return sorted(p.name for p in folder.rglob("*"))


def test_writes_and_reads(tmp_path):
    write_whole(tmp_path / "a.bin", b"one")
    assert read_bytes(tmp_path / "a.bin", limit=10) == b"one"
    write_whole(tmp_path / "a.bin", b"two")
    assert read_bytes(tmp_path / "a.bin", limit=3) == b"two"
    assert names(tmp_path) == ["a.bin"]


def test_sha256():
    """FIPS 180-4 example: the message "abc"."""
    assert sha256(b"abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_missing_folders_are_made(tmp_path):
    write_whole(tmp_path / "x/y/a.bin", b"1")
    assert (tmp_path / "x/y/a.bin").read_bytes() == b"1"


def test_a_file_gets_ordinary_permissions_and_keeps_its_own(tmp_path):
    plain, ours = tmp_path / "plain", tmp_path / "ours"
    plain.write_bytes(b"")
    write_whole(ours, b"")
    assert ours.stat().st_mode == plain.stat().st_mode
    ours.chmod(0o640)
    write_whole(ours, b"new")
    assert ours.stat().st_mode & 0o777 == 0o640


def test_a_link_keeps_naming_its_file(tmp_path):
    (tmp_path / "real").write_bytes(b"old")
    (tmp_path / "link").symlink_to("real")
    write_whole(tmp_path / "link", b"new")
    assert (tmp_path / "link").is_symlink() and (tmp_path / "real").read_bytes() == b"new"


def test_a_folder_is_not_replaced(tmp_path):
    (tmp_path / "out.png").mkdir()
    with pytest.raises(MockupError, match="out.png: This is a folder, not a file. Add a file name"):
        write_whole(tmp_path / "out.png", b"1")
    assert names(tmp_path) == ["out.png"]


def test_a_file_where_a_folder_should_be(tmp_path):
    (tmp_path / "a").write_bytes(b"1")
    with pytest.raises(MockupError, match="A part of this path is a file"):
        write_whole(tmp_path / "a/b/c.png", b"1")
    assert names(tmp_path) == ["a"]


def test_a_name_no_disk_takes(tmp_path):
    for name in ("x" * 300, "a\0b"):
        with pytest.raises(MockupError, match="not a usable file name"):
            write_whole(tmp_path / name, b"1")
    assert names(tmp_path) == []


def test_a_long_name_that_the_disk_takes(tmp_path):
    write_whole(tmp_path / ("x" * 250), b"1")
    assert names(tmp_path) == ["x" * 250]


@pytest.mark.skipif(not Path("/sys").is_dir(), reason="needs a folder that not even root may write to")
def test_a_read_only_folder():
    with pytest.raises(MockupError, match='The folder "/sys" cannot be written to. Choose another folder'):
        write_whole(Path("/sys/picture.png"), b"1")


def test_a_read_only_folder_of_ones_own(tmp_path):
    folder = tmp_path / "locked"
    folder.mkdir()
    folder.chmod(0o555)
    if os.access(folder, os.W_OK):
        pytest.skip("root may write everywhere")
    with pytest.raises(MockupError, match="cannot be written to"):
        write_whole(folder / "a", b"1")


def limited(tmp_path, body):
    """Run ``body`` where no file may grow beyond 10 kB, as on a disk that runs full while writing."""
    script = "import resource, sys\nfrom pathlib import Path\nfrom mockup.errors import MockupError\n" \
             "from mockup.files.whole import write_all, write_whole\nfolder = Path(sys.argv[1])\n" \
             "resource.setrlimit(resource.RLIMIT_FSIZE, (10_000, 10_000))\n" + textwrap.dedent(body)
    return subprocess.run([sys.executable, "-c", script, str(tmp_path)], capture_output=True, text=True,
                          cwd=Path(__file__).parents[2])


def test_a_disk_that_runs_full_leaves_the_old_file(tmp_path):
    (tmp_path / "a.bin").write_bytes(b"old")
    run = limited(tmp_path, """
        for path in (folder / "a.bin", folder / "new/b.bin"):
            try:
                write_whole(path, bytes(20_000))
            except MockupError as error:
                print(error)
        """)
    assert run.stdout.count("The disk is full, so nothing was written. Free some space") == 2, run.stderr
    assert (tmp_path / "a.bin").read_bytes() == b"old"
    assert names(tmp_path) == ["a.bin"]


@pytest.mark.parametrize("code", [errno.ENOSPC, errno.EFBIG, errno.EDQUOT])
def test_words_for_a_full_disk(code):
    words = str(file_error(OSError(code, os.strerror(code)), Path("a.png"), writing=True))
    assert words == "a.png: The disk is full, so nothing was written. Free some space or choose another folder."


def test_several_files_appear_together(tmp_path):
    (tmp_path / "a").write_bytes(b"old")
    write_all({tmp_path / "a": b"1", tmp_path / "s/b": b"2", tmp_path / "c": b"3"})
    assert [(tmp_path / n).read_bytes() for n in ("a", "s/b", "c")] == [b"1", b"2", b"3"]
    assert names(tmp_path) == ["a", "b", "c", "s"]


def test_several_files_or_none_when_the_disk_runs_full(tmp_path):
    (tmp_path / "a").write_bytes(b"old")
    run = limited(tmp_path, """
        try:
            write_all({folder / "a": b"new", folder / "s/b": b"new", folder / "c": bytes(20_000)})
        except MockupError as error:
            print(error)
        """)
    assert run.stdout.startswith(f"{tmp_path}/c: The disk is full"), run.stderr
    assert names(tmp_path) == ["a"] and (tmp_path / "a").read_bytes() == b"old"


def test_several_files_or_none_when_a_rename_fails(tmp_path):
    """The second name turns into a folder, to hold the third, before it can be given to a file."""
    (tmp_path / "a").write_bytes(b"old")
    with pytest.raises(MockupError, match="s: This is a folder"):
        write_all({tmp_path / "a": b"new", tmp_path / "s": b"new", tmp_path / "s/b": b"new"})
    assert (tmp_path / "a").read_bytes() == b"old"
    assert names(tmp_path) == ["a"]
    with pytest.raises(MockupError):
        write_all({tmp_path / "fresh": b"new", tmp_path / "s": b"new", tmp_path / "s/b": b"new"})
    assert names(tmp_path) == ["a"]


def test_the_same_file_twice_is_a_mistake_of_the_program(tmp_path):
    with pytest.raises(ValueError):
        write_all({tmp_path / "a": b"1", tmp_path / "." / "s/../a": b"2"})


def test_reading_what_is_not_there_or_not_a_file(tmp_path):
    with pytest.raises(MockupError, match="missing.png: There is no such file. Check the name"):
        read_bytes(tmp_path / "missing.png", limit=9)
    with pytest.raises(MockupError, match="This is a folder, not a file. Name a file in it"):
        read_bytes(tmp_path, limit=9)
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(MockupError, match="not an ordinary file"):
        read_bytes(tmp_path / "pipe", limit=9)
    with pytest.raises(MockupError, match="not a usable file name"):
        read_bytes(Path("a\0b"), limit=9)


def test_reading_too_much(tmp_path):
    (tmp_path / "a").write_bytes(bytes(11))
    with pytest.raises(MockupError, match="at most .* MB are read. Use a smaller one"):
        read_bytes(tmp_path / "a", limit=10)


def test_reading_what_may_not_be_read(tmp_path):
    path = tmp_path / "a"
    path.write_bytes(b"1")
    path.chmod(0)
    if os.access(path, os.R_OK):
        words = str(file_error(PermissionError(errno.EACCES, "no"), path, writing=False))
    else:
        with pytest.raises(MockupError) as caught:
            read_bytes(path, limit=9)
        words = str(caught.value)
    assert "This file may not be read. Allow reading it" in words
