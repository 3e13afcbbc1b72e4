"""Files that people asked for: whole or unchanged, never through a link, with no name that others can guess."""

from __future__ import annotations

import os
import stat
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from partscreen import whole_files
from partscreen.errors import UnusableInput
from partscreen.whole_files import write_whole

posix_only = pytest.mark.skipif(sys.platform == "win32", reason="rights and links as POSIX has them")


def rights(path: Path) -> int:
    return stat.S_IMODE(path.lstat().st_mode)


def test_a_file_holds_just_what_was_written_and_nothing_is_left_beside_it(tmp_path):
    for content in (b"first\r\n\x00", "secönd\n", ""):
        assert write_whole(tmp_path / "out.csv", content) == tmp_path / "out.csv"
        assert (tmp_path / "out.csv").read_bytes() == (content if isinstance(content, bytes) else content.encode())
    assert [p.name for p in tmp_path.iterdir()] == ["out.csv"]


@posix_only
def test_a_link_laid_in_the_way_is_replaced_and_what_it_names_stays_untouched(tmp_path):
    victim = tmp_path / "victim"
    victim.write_text("keys", encoding="utf-8")
    (tmp_path / "report.html").symlink_to(victim)
    (tmp_path / "table.csv").symlink_to(tmp_path / "not there yet")
    write_whole(tmp_path / "report.html", "page")
    write_whole(tmp_path / "table.csv", "table")
    assert victim.read_text(encoding="utf-8") == "keys"
    assert not (tmp_path / "not there yet").exists()
    assert not (tmp_path / "report.html").is_symlink()
    assert (tmp_path / "report.html").read_text(encoding="utf-8") == "page"


@posix_only
def test_a_hard_link_laid_in_the_way_does_not_carry_the_content_elsewhere(tmp_path):
    victim = tmp_path / "victim"
    victim.write_text("keys", encoding="utf-8")
    os.link(victim, tmp_path / "report.html")
    write_whole(tmp_path / "report.html", "page")
    assert victim.read_text(encoding="utf-8") == "keys"


@posix_only
def test_rights_are_those_of_the_umask_or_of_the_file_that_was_there(tmp_path):
    before = os.umask(0o077)
    try:
        write_whole(tmp_path / "new", b"")
    finally:
        os.umask(before)
    assert rights(tmp_path / "new") == 0o600
    (tmp_path / "new").chmod(0o640)
    write_whole(tmp_path / "new", b"again")
    assert rights(tmp_path / "new") == 0o640


def test_a_stop_half_way_leaves_the_old_file_and_no_other(tmp_path, monkeypatch):
    (tmp_path / "result.json").write_text("old", encoding="utf-8")

    def full(handle):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(whole_files.os, "fsync", full)
    with pytest.raises(OSError, match="No space left"):
        write_whole(tmp_path / "result.json", "new" * 1000)
    assert [p.name for p in tmp_path.iterdir()] == ["result.json"]
    assert (tmp_path / "result.json").read_text(encoding="utf-8") == "old"


def test_a_file_that_another_program_holds_open_says_so_and_stays(tmp_path, monkeypatch):
    """Windows refuses to replace an open file with PermissionError (Python documentation of os.replace and errno)."""
    (tmp_path / "parts.csv").write_text("open in a spreadsheet", encoding="utf-8")

    def held(source, target):
        raise PermissionError(13, "Access is denied")

    monkeypatch.setattr(whole_files.os, "replace", held)
    with pytest.raises(PermissionError, match="another program") as caught:
        write_whole(tmp_path / "parts.csv", "new")
    assert caught.value.filename == str(tmp_path / "parts.csv")
    assert [p.read_text(encoding="utf-8") for p in tmp_path.iterdir()] == ["open in a spreadsheet"]


def test_commands_name_the_file_that_is_in_use(tmp_path, monkeypatch):
    from partscreen.workflow.typed.sheet import write_all

    def held(source, target):
        raise PermissionError(13, "Access is denied")

    monkeypatch.setattr(whole_files.os, "replace", held)
    with pytest.raises(UnusableInput) as caught:
        write_all({tmp_path / "A1.csv": b"part"}, overwrite=True)
    (problem,) = caught.value.problems
    assert (problem.code, problem.file) == ("NOT_WRITABLE", str(tmp_path / "A1.csv"))
    assert "another program" in problem.what


def test_a_folder_of_that_name_and_a_folder_that_is_missing_are_told_by_name(tmp_path):
    (tmp_path / "out").mkdir()
    for place in (tmp_path / "out", tmp_path / "none" / "out"):
        with pytest.raises(OSError) as caught:
            write_whole(place, "x")
        assert caught.value.filename == str(place)
    assert list((tmp_path / "out").iterdir()) == []


def test_names_of_files_under_way_cannot_be_guessed(tmp_path, monkeypatch):
    seen = []
    real = os.open

    def watched(path, flags, *more, **others):
        if str(path).endswith(".part"):
            seen.append((Path(path).name, flags))
        return real(path, flags, *more, **others)

    monkeypatch.setattr(whole_files.os, "open", watched)
    for _ in range(20):
        write_whole(tmp_path / "out", "x")
    assert len({name for name, _ in seen}) == 20
    assert all(len(name) >= 1 + 16 + 5 and flags & os.O_EXCL for name, flags in seen)


@posix_only
def test_a_pipe_takes_the_bytes_and_stays_a_pipe(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    got = []
    reader = threading.Thread(target=lambda: got.append((tmp_path / "pipe").read_bytes()))
    reader.start()
    write_whole(tmp_path / "pipe", "through")
    reader.join(10)
    assert got == [b"through"]
    assert stat.S_ISFIFO((tmp_path / "pipe").stat().st_mode)


@pytest.mark.skipif(not Path("/dev/stdout").exists(), reason="no /dev/stdout here")
def test_the_systems_name_of_standard_output_is_written_and_never_replaced(tmp_path):
    code = "from partscreen.whole_files import write_whole; write_whole('/dev/stdout', 'told\\n')"
    with (tmp_path / "sent").open("wb") as sink:
        subprocess.run([sys.executable, "-c", code], stdout=sink, check=True)
    assert (tmp_path / "sent").read_bytes() == b"told\n"
    assert Path("/dev/stdout").is_symlink()


@posix_only
def test_temporary_folders_are_for_their_user_alone():
    import tempfile

    from partscreen.page.desk import Desk
    from partscreen.report.papers.fonts import fonts

    before = set(Path(tempfile.gettempdir()).glob("partscreen*"))
    fonts.cache_clear()
    fonts()
    desk = Desk()
    try:
        made = set(Path(tempfile.gettempdir()).glob("partscreen*")) - before
        assert len(made) >= 2
        assert {rights(place) for place in made} == {0o700}
    finally:
        desk.close()
