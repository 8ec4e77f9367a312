"""Files are written whole or not at all, with the permissions that the person wants for new ones."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import pytest

from capture.errors import OutputError
from capture.files import check_folder, write_bytes


@pytest.mark.skipif(os.name != "posix", reason="permissions as POSIX has them")
@pytest.mark.parametrize(("mask", "mode"), [(0o022, 0o644), (0o077, 0o600), (0o002, 0o664)])
def test_a_file_has_the_permissions_of_new_files_and_the_mask_is_never_touched(tmp_path, monkeypatch, mask, mode):
    before = os.umask(mask)
    try:
        # another thread's files would be open to everybody for as long as it is changed
        monkeypatch.setattr(os, "umask", lambda mask: pytest.fail("the process's mask was changed"))
        written = write_bytes(tmp_path / "page.svg", b"ink")
    finally:
        monkeypatch.undo()
        os.umask(before)

    assert stat.S_IMODE(written.stat().st_mode) == mode


def test_a_write_that_fails_leaves_the_old_file_and_no_scrap(tmp_path, monkeypatch):
    file = write_bytes(tmp_path / "page.svg", b"old")

    def full(handle):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OutputError, match="No space left"):
        write_bytes(file, b"new")

    assert [p.name for p in tmp_path.iterdir()] == ["page.svg"]
    assert file.read_bytes() == b"old"


def test_a_folder_on_a_drive_that_is_not_there_is_refused(tmp_path, monkeypatch):
    # as on Windows, where a drive without a disk has no parent that exists
    monkeypatch.setattr(Path, "exists", lambda self: False)
    with pytest.raises(OutputError, match="there is no /"):
        check_folder(tmp_path / "hand")
