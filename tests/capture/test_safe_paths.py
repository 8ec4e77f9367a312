"""Nothing that was read leads out of its folder, and nothing of it steers the terminal."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from capture.errors import InputError
from capture.safe_paths import path_inside
from capture.safe_text import printable


@pytest.mark.parametrize(
    "name",
    [
        "",
        ".",
        "..",
        "../x",
        "a/../../x",
        "/etc/passwd",
        "a//b",
        "a/",
        "a\\b",
        "a\0b",
        "\x1b[2J",
        "x" * 300,
        "\udce9",
        "é" * 200,
    ],
)
def test_a_name_that_leads_out_of_its_folder_is_refused(tmp_path, name):
    with pytest.raises(InputError) as error:
        path_inside(tmp_path, name)

    assert "\x1b" not in str(error.value) and "\n" not in str(error.value)


def test_a_name_in_the_folder_is_a_path(tmp_path):
    assert path_inside(tmp_path, "s1", "ink/01.png") == tmp_path / "s1" / "ink" / "01.png"


def test_a_link_out_of_the_folder_is_refused(tmp_path):
    (tmp_path / "hand").mkdir()
    (tmp_path / "hand" / "ink").symlink_to(tmp_path)

    with pytest.raises(InputError):
        path_inside(tmp_path / "hand", "ink/x.png")


def test_a_folder_that_is_itself_a_link_is_no_matter(tmp_path):
    (tmp_path / "disk").mkdir()
    (tmp_path / "hand").symlink_to(tmp_path / "disk")

    assert path_inside(tmp_path / "hand", "x.png") == tmp_path / "hand" / "x.png"


@given(st.text())
def test_no_text_steers_the_terminal(text):
    shown = printable(text)

    assert all(c in "\t\n" or 32 <= ord(c) < 127 or ord(c) > 159 for c in shown)
    shown.encode()
