"""Where a line had better not end: places that Unicode allows, and no careful letterer uses.

A plain space is a chance to break (UAX 14, LB18), also between an amount and its currency, initials and a surname, or
before a lone dash. What is found here stays together as long as the line has any better place to end.

Sources: UAX 14, revision 51 (LB13 to LB17: marks that neither begin nor end a line); CLDR, whose patterns put no-break
spaces between amounts and currencies, numbers and units; SI Brochure, 9th edition, 5.4.3 and 5.4.4 (one space before
the unit, groups of three figures). Titles, initials, abbreviations, dates, dashes, single letters in Polish and Czech:
common practice, no source.
"""

from __future__ import annotations

from functools import cache
from itertools import pairwise

import regex


def _any(words: str) -> str:
    """Return a pattern for any of these words, the longest first."""
    return "(?:" + "|".join(regex.escape(w) for w in sorted(set(words.split()), key=len, reverse=True)) + ")"


MONTHS = """January February March April May June July August September October November December
    janvier février mars avril mai juin juillet août septembre octobre novembre décembre
    Januar Jänner Februar März Mai Juni Juli Oktober Dezember
    stycznia lutego marca kwietnia maja czerwca lipca sierpnia września października listopada grudnia
    enero febrero marzo abril mayo junio julio agosto septiembre octubre noviembre diciembre
    janeiro fevereiro março maio junho julho setembro outubro novembro dezembro
    Jan Feb Mar Apr Jun Jul Aug Sep Sept Oct Nov Dec"""
"""In English, French, German, Polish, Spanish and Portuguese, as in a date."""

UNITS = """mm cm dm m km mm² cm² m² km² ha mm³ cm³ m³ µm nm g kg mg t l L ml mL cl cL dl dL hl s ms h min d K °C °F °
    °N °S °E °W r w % ‰ V kV W kW MW kWh A mA Hz kHz MHz GHz N kN Pa hPa kPa bar mbar J kJ cal kcal Ω lx lm cd km/h m/s
    kn kt mph in ft yd mi lb lbs oz pt gal px dpi kB MB GB TB Uhr"""
"""Of the SI and of everyday life; with what stands in the same way after a number: an hour, a Polish year (r.)."""

MONEY = "zł gr Kč kr Ft lei лв kn"
"""Currencies whose signs are letters; three capitals (ISO 4217) and signs of class Sc are told without a list."""

BEFORE_NUMBERS = """p pp S s str Str f ff No no Nr nr Nos n N vol Vol vols t Bd bd Fig fig Figs Abb abb rys Rys tab Tab
    Kap kap ch Ch chap Chap cap Cap rozdz art Art Abs par Sec sec Ed ed fol l L col Tel tel Tél tél Apt apt lok m Rm
    ca Ca c C approx ok env aprox zm ur b d r Anm pkt Pkt Pl pl z Z"""
"""Abbreviations with a full stop that a number follows: 'p. 5', 'Nr. 7'."""

BEFORE_NAMES = """Mr Mrs Ms Dr Drs Prof prof St Ste Sr Sra Srta Dra Dña D Fr Hr Hrn Rev Capt Cpt Lt Col Gen Sgt Mme
    Mlle Mgr Me Dipl Ing inż mgr dr hab ul al pl os św Św im Av Avda Pl R Bd Bld Mt Ft Hon Sir Msgr Abp bp Bp ks Ks"""
"""Titles and parts of addresses with a full stop that a name follows: 'Mrs. Quill', 'ul. Morska'."""

UNSTOPPED = "Mr Mrs Ms Dr Prof St Ste Mme Mmes Mlle MM Me Mgr dr mgr"
"""Those that some languages write without it."""

_EDGE = r"(?<![\p{L}\p{N}])"
_END = r"(?![\p{L}\p{N}])"
_NUMBER = r"[\p{Nd}\p{No}]"
_SIGN = r"[-+±−–]?"


@cache
def _pairs(*sides: tuple[str, str]) -> tuple[regex.Pattern[str], ...]:
    """Return patterns that find the spaces between what stands before and after them.

    They are made when the first line needs them, which takes some hundredths of a second.
    """
    return tuple(regex.compile(rf"(?<={before})( +)(?={after})") for before, after in sides)


_WITH_FIGURES = (
    # amounts, units, times of the day; with the currency or the sign in front as well
    (_NUMBER, rf"(?:{_any(UNITS + ' ' + MONEY)}|[A-Z]{{3}}|\p{{L}}{{0,2}}\p{{Sc}}\p{{L}}{{0,2}}){_END}"),
    (_NUMBER, rf"(?:[ap]\.? ?m\.?|AM|PM){_END}"),
    (rf"{_NUMBER}\ ?h", r"\d\d"),
    (rf"(?:\p{{Sc}}|{_EDGE}[A-Z]{{3}}|{_EDGE}{_any('zł kr Kč Fr')}\.?)", rf"{_SIGN}{_NUMBER}"),
    (rf"(?:[§¶№#]|{_EDGE}[nN][°º]|{_EDGE}[Nn]r)", _NUMBER),
    (rf"(?:{_NUMBER}|{_NUMBER}\ ?[cm]?m)", rf"[×x]\ {_NUMBER}"),
    (rf"(?:{_NUMBER}|{_NUMBER}\ ?[cm]?m)\ [×x]", _NUMBER),
    # dates
    (rf"{_EDGE}\d\d?(?:\.|er|st|nd|rd|th|º|°)?", rf"(?i:(?:de )?{_any(MONTHS)}){_END}"),
    (rf"{_EDGE}(?i:{_any(MONTHS)})\.?", r"\d\d?(?!\d)"),
)
_WITH_STOPS = (
    # abbreviations of several parts, and those with what they speak of
    (rf"{_EDGE}{_any(BEFORE_NUMBERS)}\.", rf"(?:{_NUMBER}|[IVXLC]+{_END})"),
    (rf"{_EDGE}{_any(BEFORE_NAMES)}\.", r"\p{Lu}"),
    (rf"{_EDGE}\p{{L}}\.", r"\p{L}{1,3}\."),
    (rf"{_EDGE}\p{{Lu}}\.", r"\p{Lu}"),
)
_OTHERS = (
    (rf"{_EDGE}{_any(UNSTOPPED)}", r"\p{Lu}"),
    (r"\p{Lu}\p{Ll}+", rf"(?:[IVX]{{2,}}|[VX]){_END}"),
    (r"\s&", r"\p{L}"),
)
_FIGURE = regex.compile(_NUMBER)

_WHOLE = (
    # groups of three figures; more of them than any number has are a list
    regex.compile(r"(?<!\d)(?<!\d )\d{1,3}(?: \d{3}){1,4}(?! ?\d)"),
    # a telephone number with its country's code (ITU-T E.123 sets it in groups, with spaces)
    regex.compile(r"\+\d{1,3}(?: \(?\d+\)?){1,6}"),
)

_LONE = (
    regex.compile(rf"{_EDGE}[aiouAIOU]( +)(?=\p{{L}})"),
    regex.compile(rf"{_EDGE}[kvwzKVWZ]( +)(?=[\p{{L}}\p{{N}}])"),
)
_WEST_SLAVIC = regex.compile(rf"[ąćęłńśźżčďěľňřšťůž]|{_EDGE}[wz] ", regex.IGNORECASE)
"""A letter or a word by which Polish, Czech and Slovak are told from languages that leave 'a' and 'i' at line ends."""

_PORTUGUESE = regex.compile(r"[ãõ]", regex.IGNORECASE)

_OPENING = regex.compile(r"[\p{Ps}\p{Pi}¿¡]+")
_CLOSING = regex.compile(r"[\p{Pe}\p{Pf}!?:;%]+[\p{P}]*")
_TRAILING = regex.compile(r"(?:[-–—―‒]+|…|\.{2,}|[,.])[\p{P}]*")
_DASH = regex.compile(r"[-–—―‒]+")
_GAP = regex.compile(r" +")


def kept_spaces(line: str) -> frozenset[int]:
    """Return the indices in `line` of spaces, the last of several, at which it should not break.

    Examples
    --------
    >>> sorted(kept_spaces("that is 12,50 € for J. Quill"))
    [13, 22]
    """
    figures = _FIGURE.search(line) is not None
    # most lines of a letter have neither: they need not be looked through for what they cannot hold
    sought = [_OTHERS, *([_WITH_FIGURES] if figures else []), *([_WITH_STOPS] if ". " in line else [])]
    out = {space.end(1) - 1 for sides in sought for pair in _pairs(*sides) for space in pair.finditer(line)}
    for whole in _WHOLE if figures else ():
        out |= {m.start() + k for m in whole.finditer(line) for k, char in enumerate(m[0]) if char == " "}
    lone = _LONE if _WEST_SLAVIC.search(line) else ()
    out |= {space.end(1) - 1 for letter in lone for space in letter.finditer(line)}
    gaps = [m for m in _GAP.finditer(line) if m.start()]
    edges = [0, *(m.end() for m in gaps), len(line) + 1]
    for k, gap in enumerate(gaps):
        if line[edges[k] : edges[k] + 1].isalnum() and line[gap.end() : gap.end() + 1].isalnum():
            continue  # words, not marks
        before, after = line[edges[k] : gap.start()], line[gap.end() : edges[k + 2]].rstrip(" ")
        begins = k == 0 and _DASH.fullmatch(before)  # somebody speaks, or a mark of a list
        if _OPENING.fullmatch(before) or begins or _CLOSING.fullmatch(after) or _TRAILING.fullmatch(after):
            out.add(gap.end() - 1)
    return frozenset(out)


_CONTENT = regex.compile(r"[\p{L}\p{N}\p{So}]")
_LONE_BEFORE = regex.compile(r"[\p{P}]*\p{L}\p{M}*[-‐/]")
_LONE_AFTER = regex.compile(r"\p{L}\p{M}*(?![-‐])\p{P}*")
_RANGE = regex.compile(r"\d[-‐–—‒]"), regex.compile(r"\d")
_ADDRESS = regex.compile(r"@|://|^www\.", regex.IGNORECASE)


def repeats_hyphens(line: str) -> bool:
    """Return whether a line is in a language that writes a hyphen at which a line ends once more on the next.

    Portuguese (Acordo Ortográfico da Língua Portuguesa, 1990, Base XX, 6.º), Polish and Czech (common practice, no
    source); told by their letters.
    """
    return bool(_WEST_SLAVIC.search(line) or _PORTUGUESE.search(line))


def kept_breaks(word: str, cuts: tuple[int, ...], graphemes: list[str], *, repeats: bool = False) -> frozenset[int]:
    """Return which of the breaks inside a word are no good: after one letter and a hyphen, before marks, in a range.

    Parameters
    ----------
    cuts
        Where UAX 14 lets the word break, as indices into its graphemes, ascending.
    repeats
        The language would have the hyphen of a compound once more on the next line (`repeats_hyphens`).

    Examples
    --------
    >>> kept_breaks("a-t-il", (2, 4), list("a-t-il"))
    frozenset({2, 4})
    """
    out = set()
    bounds = [0, *cuts, len(graphemes)]
    pieces = ["".join(graphemes[a:b]) for a, b in pairwise(bounds)]
    for k, cut in enumerate(cuts):
        left, right = pieces[k], pieces[k + 1]
        if (
            not _CONTENT.search(right)
            or (k == 0 and not _CONTENT.search(left))
            or _LONE_BEFORE.fullmatch(left)
            or _LONE_AFTER.fullmatch(right)
            or (_RANGE[0].search(left[-2:]) and _RANGE[1].match(right))
            or (left[-1:] in "-‐" and (repeats or _ADDRESS.search(word)))
        ):
            out.add(cut)
    return frozenset(out)
