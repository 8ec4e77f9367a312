"""Which characters a language needs."""

from __future__ import annotations

import os
import subprocess
import sys
import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from capture import language_database
from capture.errors import UsageError
from capture.language_database import BASIC, all_languages
from capture.languages import characters_for, characters_in, coverage, in_order, language
from capture.user_cache import FOLDER_VARIABLE

LATIN = set("abcdefghijklmnopqrstuvwxyz")

# Main exemplar letters beyond a-z, and quotation marks, of the Unicode CLDR 41 (exemplarCharacters and delimiters;
# Debian's unicode-cldr-core).
CLDR = {
    "en": ("", "“”‘’"),
    "fr": ("àâæçéèêëîïôœùûüÿ", "«»"),
    "de": ("äöüß", "„“‚‘"),
    "pl": ("ąćęłńóśźż", "„”«»"),
    "es": ("áéíñóúü", "«»“”‘’"),
}


@pytest.mark.parametrize("code", CLDR)
def test_a_language_has_the_letters_and_quotation_marks_of_cldr(code):
    letters, quotes = CLDR[code]
    small = LATIN | set(letters)
    capitals = {char.upper() for char in small if len(char.upper()) == 1}
    got = set(characters_for([code]))

    assert {char for char in got if unicodedata.category(char) in ("Ll", "Lu")} == small | capitals
    assert set(quotes) <= got
    assert set("0123456789.,:;!?'-–()") <= got


def test_spanish_has_its_opening_marks_and_english_has_not():
    assert set("¡¿") <= set(characters_for(["es"]))
    assert not set("¡¿") & set(characters_for(["en"]))


def test_greek_and_russian_come_with_their_own_letters():
    assert set("αβγδεζηθικλμνξοπρσςτυφχψωάέήίόύώ") <= set(characters_for(["el"]))
    assert set("абвгдеёжзийклмнопрстуфхцчшщъыьэюя") <= set(characters_for(["ru"]))


@pytest.mark.parametrize(
    ("asked", "code"),
    # ISO 639-1, 639-2 and 639-3 codes, as in Debian's iso-codes.
    [("pl", "pol"), ("pol", "pol"), ("PL", "pol"), ("Polish", "pol"), ("polski", "pol"), (" german ", "deu"),
     ("ger", "deu"), ("nb", "nor"), ("lv", "lvs"), ("et", "ekk"), ("pt-BR", "por"), ("español", "spa")],
)  # fmt: skip
def test_a_language_is_found_by_codes_and_names(asked, code):
    assert language(asked).code == code


def test_a_language_of_two_scripts_is_asked_for_with_the_script():
    assert (language("sr-Latn").script, language("sr-Cyrl").script) == ("Latin", "Cyrillic")
    with pytest.raises(UsageError, match="Cyrillic, Latin"):
        language("sr-Grek")


def test_an_unknown_language_is_answered_with_near_ones():
    with pytest.raises(UsageError, match=r"languages: 'Polnish' is not a language that we know\. Did you mean Polish"):
        language("Polnish")


@pytest.mark.parametrize("code", ["", "x", "qq", "../eng", "e" * 5000, "☃", "en fr", "default"])
def test_what_is_no_language_is_refused_in_one_line(code):
    with pytest.raises(UsageError) as error:
        language(code)

    assert "\n" not in str(error.value) and len(str(error.value)) < 300


def test_characters_are_ordered_letters_accents_digits_signs():
    chars = "".join(characters_for(["en", "pl"]))

    assert chars.startswith("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZąćęłńóśźżĄĆĘŁŃÓŚŹŻ0123456789")
    assert chars[chars.index("9") + 1 :].startswith("".join(BASIC))


def test_loan_letters_come_when_asked_for():
    assert "ẞ" not in characters_for(["de"])
    assert "ẞ" in characters_for(["de"], auxiliary=True)


@pytest.mark.parametrize("form", ["NFC", "NFD", "NFKC", "NFKD"])
def test_a_text_in_any_normalisation_form_needs_the_same_characters(form):
    text = unicodedata.normalize(form, "Việt Nam, Škoda, ångström")

    assert characters_in(text) == in_order("Việt Nam, Škoda, ångström".replace(" ", ""))


def test_marks_without_a_composed_letter_stay_on_their_letter():
    assert characters_in("x\u0302 y x\u0302") == ["y", "x\u0302"]


@pytest.mark.parametrize("char", ["\x00", "\x1b", "\ue000", "\u0378", "\ud800"])
def test_what_nobody_can_write_is_named(char):
    with pytest.raises(UsageError, match=f"U\\+{ord(char):04X}"):
        characters_in(f"a{char}b")


@given(st.text())
def test_characters_of_any_text_are_composed_and_each_once(text):
    try:
        chars = characters_in(text)
    except UsageError:
        return

    assert len(set(chars)) == len(chars)
    assert all(char == unicodedata.normalize("NFC", char) and not char.isspace() for char in chars)
    assert characters_in("".join(chars)) is not None


def test_coverage_tells_complete_built_and_missing():
    polish = set(characters_for(["pl"]))
    full, built, missing = (
        coverage(have, ["pl"])[0] for have in (polish, polish - set("ćŃ"), polish - set("łżŻ") - set("ąĄęĘ"))
    )

    assert (full.status, full.built, full.missing) == ("complete", (), ())
    assert (built.status, built.built, built.missing) == ("complete with built accents", ("ć", "Ń"), ())
    # ł has no decomposition (UAX #15), and no other letter here has a dot or an ogonek to lend.
    assert missing.status == "incomplete"
    assert missing.built == ()
    assert set(missing.missing) == set("łżŻąĄęĘ")


def test_a_mark_that_was_written_alone_builds_letters():
    assert coverage([*LATIN, *map(str.upper, LATIN), "\u0301", "\u0303", "\u0308"], ["es"])[0].missing == ()


def test_all_languages_are_kept_for_the_next_process_and_what_is_damaged_is_not_believed(tmp_path, monkeypatch):
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path))
    languages = all_languages.__wrapped__
    first = languages()
    (file,) = tmp_path.glob("languages-*")
    monkeypatch.setattr(language_database, "_codes", list)

    assert len(first) > 700
    assert languages() == first
    file.write_bytes(file.read_bytes().replace(b"Polish", b"Polosh"))
    assert languages() == ()


def test_all_languages_are_judged_and_latin_ones_found_complete():
    judged = {one.language.code: one for one in coverage(characters_for(["en", "fr", "de", "pl", "es"]))}

    assert len(judged) > 300
    assert all(judged[code].status == "complete" for code in ("eng", "fra", "deu", "pol", "spa"))
    assert judged["ita"].built == ("ì", "ò", "Ì", "Ò")  # with the grave of à
    assert judged["ces"].missing  # the háček is nowhere to be had
    assert "rus" not in judged


def test_nothing_is_left_in_the_folder_that_the_command_runs_in(tmp_path):
    code = "from capture.languages import language; assert language('pl').code == 'pol'"
    # A file of the database's cache, planted by somebody else, would be run when it is loaded.
    (tmp_path / ".hyperglot-cache").write_bytes(b"cos\nsystem\n(S'touch planted'\ntR.")
    path = os.pathsep.join(p for p in sys.path if p)
    subprocess.run([sys.executable, "-c", code], cwd=tmp_path, check=True, env={**os.environ, "PYTHONPATH": path})

    assert [item.name for item in tmp_path.iterdir()] == [".hyperglot-cache"]
