"""What this user's programs sealed is told from all else; reference: HMAC test case 2 of RFC 4231, section 4.3."""

from __future__ import annotations

import stat
from concurrent.futures import ThreadPoolExecutor

import pytest

from capture import user_cache
from capture.user_cache import FOLDER_VARIABLE, KEY, SEAL_BYTES, cache_folder, sealed, unsealed


@pytest.fixture(autouse=True)
def folder(tmp_path, monkeypatch):
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path / "cache"))
    return tmp_path / "cache"


def test_the_seal_is_hmac_sha_256(monkeypatch):
    monkeypatch.setattr(user_cache, "_key", lambda: b"Jefe")
    seal = bytes.fromhex("5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843")
    assert sealed(b"what do ya want for nothing?") == seal + b"what do ya want for nothing?"


def test_what_was_sealed_is_found_again_and_nothing_else(folder):
    data = sealed(b"the lamp is lit")
    assert unsealed(data) == b"the lamp is lit"
    assert stat.S_IMODE((folder / KEY).stat().st_mode) == 0o600
    for place in (0, SEAL_BYTES - 1, SEAL_BYTES, len(data) - 1):
        changed = bytearray(data)
        changed[place] ^= 1
        assert unsealed(bytes(changed)) is None
    assert unsealed(b"") is None
    assert unsealed(data[:-1]) is None


def test_another_users_seal_is_not_believed(folder):
    data = sealed(b"the lamp is lit")
    (folder / KEY).unlink()
    assert unsealed(data) is None


def test_programs_that_begin_at_once_share_one_key(folder):
    with ThreadPoolExecutor(8) as pool:
        seals = set(pool.map(lambda _: sealed(b"fog"), range(40)))
    assert len(seals) == 1
    assert [p.name for p in folder.iterdir()] == [KEY]


def test_where_no_key_can_be_kept_nothing_is_sealed(folder, monkeypatch):
    folder.parent.joinpath("file").write_text("")
    monkeypatch.setenv(FOLDER_VARIABLE, str(folder.parent / "file" / "below"))
    assert sealed(b"fog") is None
    assert unsealed(b"\0" * 40) is None


def test_a_key_of_another_length_is_none(folder):
    folder.mkdir()
    (folder / KEY).write_bytes(b"short")
    assert sealed(b"fog") is None


def test_without_a_home_there_is_no_folder(monkeypatch):
    for name in (FOLDER_VARIABLE, "XDG_CACHE_HOME", "LOCALAPPDATA"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr(user_cache.Path, "home", lambda: (_ for _ in ()).throw(RuntimeError("no home")))
    assert cache_folder() is None
    assert sealed(b"fog") is None
