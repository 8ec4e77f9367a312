from __future__ import annotations

import subprocess
from collections.abc import Callable
from dataclasses import replace

import pytest
import regex
from babel import Locale
from babel.numbers import format_currency
from babel.units import format_unit

from ownhand.composer.text.fitter import Fitter
from ownhand.composer.text.kept_together import MONTHS, kept_spaces
from ownhand.composer.text.passage import passage
from tests.ownhand.composing import CARD, composer
from tests.ownhand.test_line_layout import lines

LANGUAGES = ("en", "fr", "de", "pl", "es", "pt")
NO_BREAK = regex.compile("[\u00a0\u202f]")

TEXTS = (
    "The fog - no ship in sight - lifted; “Sixteen,” said the keeper (he counts them), “and two with red sails!”",
    "À bientôt, cher ami : « la clé » vous attend… Viendra-t-il à 8 h 30 ? M. Leduc paie 12,50 €, p. 5.",
    "Der Leuchtturm – 1914–1918 gebaut – ist 21,5 m hoch; z. B. am 3. März, §\u00a05 (siehe S. 7), „ganz“ oben.",
    "Zobacz łódź biało-czerwoną w porcie i na morzu, ul. Morska 12 m. 5; „tak” — rzekł — do 14:30.",
    "¿Quién viene? —dijo el farero—. ¡Nadie! El 28 de noviembre, Sr. García, 5 % y 1.250,00 EUR.",
    "O guarda-chuva ficou; às 9h30 chega o barco n.º 7, R$ 50 e/ou 3 km/h, na pág. 4-A (Sra. Lima).",
    "See www.lighthouse.example/visit?day=2, keeper@light-house.example, +44 20 7946 0000, T-shirt 2/3 of $5.",
)


def breaks(text: str) -> tuple[set[int], set[int]]:
    """Return where a line may end, and where only if there is nothing better; as indices of what follows."""
    found = passage(text, Fitter({c: None for c in text}))
    return {b.start for b in found.breaks if not b.poor}, {b.start for b in found.breaks if b.poor}


@pytest.mark.parametrize("text", TEXTS)
def test_no_line_ends_where_unicode_lets_none_end(text: str, tool: Callable[[str], str]) -> None:
    # UAX 14 as Perl has it: \b{lb} in perlrebackslash
    out = subprocess.run(
        [tool("perl"), "-CSD", "-ne", r"chomp; print join('|', split /\b{lb}/)"],
        input=text,
        capture_output=True,
        text=True,
    ).stdout
    allowed, at = set(), 0
    for piece in out.split("|")[:-1]:
        at += len(piece)
        allowed.add(at)

    good, poor = breaks(text)
    assert good <= allowed
    # and of what Unicode allows nothing is lost without a reason
    assert allowed <= good | poor
    assert len(good) > len(allowed) / 2


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("currency", ["EUR", "GBP", "PLN", "USD", "BRL", "CHF"])
def test_an_amount_typed_with_a_plain_space_holds_as_cldr_sets_it(language: str, currency: str) -> None:
    # CLDR's number patterns, by Babel: the spaces in them are no-break spaces
    for amount in (12.5, -1250):
        proper = format_currency(amount, currency, locale=language)

        kept = kept_spaces(NO_BREAK.sub(" ", proper))
        assert kept >= {m.start() for m in NO_BREAK.finditer(proper)}


@pytest.mark.parametrize("unit", ["length-meter", "length-kilometer", "mass-kilogram", "volume-liter", "mass-gram",
                                  "length-millimeter", "energy-kilowatt-hour", "length-centimeter",
                                  "speed-kilometer-per-hour", "area-square-meter", "concentr-percent"])  # fmt: skip
@pytest.mark.parametrize("language", LANGUAGES)
def test_a_number_and_its_unit_stay_together(language: str, unit: str) -> None:
    # CLDR's unit patterns, by Babel; the space before the unit: SI Brochure, 9th edition, 5.4.3
    proper = NO_BREAK.sub(" ", format_unit(21, unit, "short", locale=language))

    assert kept_spaces(f"it is {proper} so") == {m.start() + 6 for m in regex.finditer(" ", proper)}


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_day_of_a_date_stays_with_its_month(language: str) -> None:
    # names of months as CLDR has them in dates, by Babel
    names = Locale.parse(language).months["format"]["wide"].values()

    assert {name.lower() for name in names} <= set(MONTHS.lower().split())
    assert kept_spaces(f"28 {next(iter(names))}") == {2}


@pytest.mark.parametrize(
    ("text", "kept"),
    [
        ("the hat of J. R. Quill", "J._R._Quill"),
        ("see p. 5 and no. 12", "p._5 no._12"),
        ("chez M. Leduc et Mme Petit", "M._Leduc Mme_Petit"),
        ("z. B. am 3. März um 9 Uhr", "z._B. 3._März 9_Uhr"),
        ("w domu i z nami na ul. Morskiej", "w_domu i_z_nami ul._Morskiej"),
        ("łódź z 1920 r. stoi", "z_1920_r."),
        ("I am a keeper of a cat", ""),
        ("it opened — at last — today", "opened_— last_—"),
        ("— Nie wiem", "—_Nie"),
        ("wait … what", "wait_…"),
        ("call +44 20 7946 0000 now", "+44_20_7946_0000"),
        ("prints 10 x 15 cm wide", "10_x_15_cm"),
        ("Louis XIV and I", "Louis_XIV"),
        ("12 of them on 7 boats", ""),
    ],
)
def test_what_belongs_together_is_not_parted(text: str, kept: str) -> None:
    # common practice, no source; single letters in Polish: only they are kept, and only there
    at = kept_spaces(text)
    shown = "".join("_" if k in at else c for k, c in enumerate(text))

    assert [w for w in shown.split() if "_" in w] == kept.split()


@pytest.mark.parametrize(
    ("word", "good"),
    [("T-shirt", []), ("viendra-t-il", [8]), ("1914–1918", []), ("–5°C", []), ("km/h", []), ("mother-in-law", [7, 10]),
     ("so—he", [3]), ("keeper@light-house.example", [])],
)  # fmt: skip
def test_a_word_does_not_end_a_line_after_one_letter_nor_begin_one_with_marks(word: str, good: list[int]) -> None:
    # common practice, no source; UAX 14 allows all of these
    assert sorted(breaks(word)[0]) == good


def test_a_compound_is_not_parted_where_its_hyphen_would_have_to_be_written_twice() -> None:
    # Acordo Ortográfico da Língua Portuguesa (1990), Base XX, 6.º: "vice-/-almirante"; in Polish "biało-/-czerwony"
    assert breaks("não o guarda-chuva")[0] == {4, 6}
    assert breaks("łódź biało-czerwona")[0] == {5}
    assert breaks("a well-known boat")[0] == {2, 7, 13}


def test_a_line_ends_before_what_belongs_together_and_within_it_only_where_it_must() -> None:
    wide = composer().compose("we go to J. R. Quill", replace(CARD, margins_mm=(10, 94, 10, 10)), seed=1)
    narrow = composer().compose("J. R. Quillington", replace(CARD, margins_mm=(10, 102, 10, 10)), seed=1)

    assert lines(wide.pages[0]) == ["we go to", "J. R. Quill"]
    assert lines(narrow.pages[0]) == ["J. R.", "Quillington"]
    assert not narrow.notices


def test_what_is_longer_than_a_line_begins_on_the_line_before() -> None:
    made = composer().compose("Tel. +44 20 7946 0000", replace(CARD, margins_mm=(10, 100, 10, 10)), seed=1)

    assert lines(made.pages[0]) == ["Tel. +44 20", "7946 0000"]


def test_a_justified_line_is_rather_parted_than_full_of_holes() -> None:
    settings = replace(CARD, margins_mm=(10, 76, 10, 10))
    text = "we see M. Featherston there and there again"

    ragged = lines(composer().compose(text, settings, seed=1).pages[0])
    even = lines(composer().compose(text, replace(settings, align="justified"), seed=1).pages[0])

    assert ragged[:2] == ["we see", "M. Featherston there"]
    assert even[0] == "we see M."


def test_a_name_is_divided_although_it_belongs_to_its_title() -> None:
    settings = replace(CARD, margins_mm=(10, 86, 10, 10), hyphenate="en")

    found = lines(composer().compose("we see Mr. Hyphenation", settings, seed=1).pages[0])

    assert found[0].startswith("we see Mr. Hy") and found[0].endswith("-")
