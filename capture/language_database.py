"""Languages out of the hyperglot database (Rosetta Type, open data)."""

from __future__ import annotations

import contextlib
import difflib
import hashlib
import json
import os
import re
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.metadata import version
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import regex

from capture.errors import OutputError, UsageError
from capture.files import write_bytes
from capture.user_cache import cache_folder, sealed, unsealed

BASIC = tuple(".,:;!?…'’\"()-–—/&@%+=*#°")
"""Punctuation and signs that every sheet has; quotation marks and what else a language needs come from the database."""

_LEFT_OUT = frozenset("¤¢")
"""Currency signs that nobody writes by hand today."""


@dataclass(frozen=True)
class Language:
    """A language as it is written today, in one script. All characters are in Unicode NFC."""

    code: str
    """ISO 639-3, three letters."""

    name: str
    autonym: str
    script: str
    """'Latin', 'Greek', 'Cyrillic', ..."""

    base: tuple[str, ...]
    """The letters it needs, small and capital."""

    auxiliary: tuple[str, ...]
    """Letters of loan words and names."""

    marks: tuple[str, ...]
    """Combining marks that its letters are built with."""

    punctuation: tuple[str, ...]
    """Its own punctuation: quotation marks and the like, without what every language has."""

    numerals: tuple[str, ...]
    currency: tuple[str, ...] = ()


@cache
def find_language(code: str) -> Language:
    """Return the language with this code or name; see `capture.languages.language`."""
    iso, script = code.lower(), None
    if not _is_known(iso):
        iso, script = _iso_639_3(code)
    if not _is_known(iso):
        iso = _by_name(code)
    data = _data(iso)
    return _from_data(iso, _orthography(code, data, script), data)


def _iso_639_3(tag: str) -> tuple[str, str | None]:
    """Return the three-letter code and the script that a language tag names; '' for what is not a tag."""
    import langcodes

    try:
        named = langcodes.Language.get(tag)
        code = str(named.to_alpha3())
        return code if _is_known(code) else _names().get(code) or _standard_forms().get(code, ""), named.script
    except (LookupError, ValueError):
        return "", None


def _by_name(name: str) -> str:
    names = _names()
    folded = name.casefold()
    if folded in names:
        return names[folded]
    near = difflib.get_close_matches(folded, names, n=4, cutoff=0.6) if len(folded) > 3 else []
    shown = dict.fromkeys(f"{_data(names[one]).get('name')} ({names[one]})" for one in near)
    hint = f"Did you mean {' or '.join(shown)}?" if shown else "Give an ISO 639 code such as 'fr' or 'pol', or a name."
    raise UsageError("languages", f"'{name:.40}' is not a language that we know", hint)


@cache
def _codes() -> frozenset[str]:
    """Return the codes of the languages that the database can say something about."""
    hyperglot = _hyperglot()
    listed = (path.stem.rstrip("_") for path in Path(hyperglot.DB).glob("*.y*ml"))
    return frozenset(iso for iso in listed if _is_known(iso))


@cache
def _is_known(iso: str) -> bool:
    """Tell whether the database can say something about a language; it reads one file, `_codes` reads all."""
    if not re.fullmatch("[a-z]{3}", iso):
        return False
    try:
        return bool(_hyperglot().loader.load_language_data(iso).get("orthographies"))
    except KeyError:
        return False


@cache
def _names() -> dict[str, str]:
    """Return the codes by folded English names, own names, and codes of what is counted as a part (Bokmål 'nob')."""
    names: dict[str, str] = {}
    for iso in sorted(_codes()):
        raw = _hyperglot().loader.load_language_data(iso)
        own = [orthography.get("autonym") for orthography in raw["orthographies"]]
        for name in (raw.get("name"), raw.get("autonym"), *own, *(raw.get("includes") or [])):
            if name:
                names.setdefault(str(name).casefold(), iso)
    return names


@cache
def _standard_forms() -> dict[str, str]:
    """Return for the codes of macrolanguages (ISO 639-3: Latvian 'lav') their standard form in the database ('lvs')."""
    import langcodes

    forms: dict[str, str] = {}
    for iso in sorted(_codes(), key=_speakers, reverse=True):
        try:
            forms.setdefault(langcodes.Language.get(iso).prefer_macrolanguage().to_alpha3(), iso)
        except LookupError:
            continue
    return forms


def _speakers(iso: str) -> int:
    speakers = _hyperglot().loader.load_language_data(iso).get("speakers")
    return speakers if isinstance(speakers, int) else 0


@cache
def all_languages() -> tuple[Language, ...]:
    """Return all languages of the database, each in its main script.

    Takes some seconds the first time; then they are kept in this user's cache folder, for this version of the database
    and of this module.
    """
    file = _kept_file()
    if file is not None and (known := _kept(file)):
        return known
    found = (_from_data(iso, _orthography(iso, _data(iso), None), _data(iso)) for iso in sorted(_codes()))
    made = tuple(one for one in found if one.base)
    data = None if file is None else sealed(json.dumps([vars(one) for one in made]).encode())
    if file is not None and data is not None:
        with contextlib.suppress(OutputError):  # nothing is lost but time
            write_bytes(file, data)
    return made


def _kept_file() -> Path | None:
    """Return where all languages are kept, None where there is no such place."""
    folder = cache_folder()
    if folder is None:
        return None
    told = f"{version('hyperglot')} {unicodedata.unidata_version} ".encode() + Path(__file__).read_bytes()
    return folder / f"languages-{hashlib.sha256(told).hexdigest()[:16]}"


def _kept(file: Path) -> tuple[Language, ...]:
    """Return the languages that a file holds, none where it is not there or not this user's."""
    try:
        data = unsealed(file.read_bytes())
    except OSError:
        return ()
    listed: list[dict[str, Any]] = [] if data is None else json.loads(data)
    return tuple(_from_kept(fields) for fields in listed)


def _from_kept(fields: dict[str, Any]) -> Language:
    frozen: dict[str, Any] = {name: tuple(part) if isinstance(part, list) else part for name, part in fields.items()}
    return Language(**frozen)


@cache
def _data(iso: str) -> Any:
    return _hyperglot().language.Language(iso)


@cache
def _hyperglot() -> Any:
    """Return the module; slow, so only when it is needed."""
    import hyperglot.language
    import hyperglot.loader

    # It would keep a pickle in the folder that the command runs in, and load one that it finds there: not wanted.
    hyperglot.language.LANGUAGE_CACHE_FILE = os.devnull
    # Its 800 files are read by PyYAML's parser in C where there is one: the same data in a seventh of the time.
    parser = hyperglot.loader.yaml
    hyperglot.loader.yaml = SimpleNamespace(load=parser.load, Loader=getattr(parser, "CSafeLoader", parser.SafeLoader))
    return hyperglot


def _orthography(code: str, data: Any, script: str | None) -> Any:
    if script is None:
        return data.get_orthography()
    scripts = _hyperglot().loader.load_scripts_data()
    name = next((name for name, about in scripts.items() if about.get("iso_15924") == script), script)
    try:
        return data.get_orthography(script=name)
    except KeyError:
        others = ", ".join(sorted({str(o["script"]) for o in data["orthographies"]}))
        what = f"'{code:.40}': {data['name']} is not written in {name}"
        raise UsageError("languages", what, f"It is written in {others}.") from None


def _from_data(iso: str, orthography: Any, data: Any) -> Language:
    own = str(orthography.get("punctuation") or "").partition("\n")[2]
    letters = tuple(_characters(orthography.get("base")))
    punctuation = [c for c in (*letters, *_characters(own)) if not unicodedata.category(c[0]).startswith("L")]
    return Language(
        code=iso,
        name=str(data.get("name") or iso),
        autonym=str(orthography.get("autonym") or data.get("autonym") or ""),
        script=str(orthography.get("script") or ""),
        base=tuple(c for c in letters if unicodedata.category(c[0]).startswith("L")),
        auxiliary=tuple(_characters(orthography.get("auxiliary"))),
        marks=tuple(_characters(str(orthography.get("marks") or "").replace("◌", " "))),
        punctuation=tuple(dict.fromkeys(c for c in punctuation if c not in BASIC)),
        numerals=tuple(_characters(orthography.get("numerals"))),
        currency=tuple(c for c in _characters(orthography.get("currency")) if c not in _LEFT_OUT),
    )


def _characters(listed: object) -> Iterator[str]:
    """Yield the characters of a list as the database writes it, NFC, each once."""
    text = unicodedata.normalize("NFC", str(listed or ""))
    chars: Sequence[str] = [c for word in text.split() for c in regex.findall(r"\X", word)]
    yield from dict.fromkeys(chars)
