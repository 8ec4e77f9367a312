"""How far a letter sees its own kind while one types: rules that feature code can say only at great length.

A letter takes the shape after the one that its character had the last time. For each character there is one subtable,
in which its shapes are a class each and all other glyphs are one more (OpenType 1.9.1, GSUB lookup type 6, format 2):
it grows with the character's shapes, not with the font. Written as feature code, the same takes a compiler gigabytes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from fontTools.ttLib import TTFont
from fontTools.ttLib.tables import otTables

from fontbuild.formats.features import turned_over

SIGHT = 10
"""Glyphs between two equal letters up to which they differ in shape: five letters, and spaces and signs among them."""

OTHERS = 0
"""Class of all glyphs that a class table does not name (OpenType 1.9.1, common table formats, class definition)."""

SHORT_SIGHT = 3
"""The same of figures and signs, which stand alone mostly."""


def look_far(made: TTFont, names: Mapping[str, Sequence[str]]) -> None:
    """Give the lookup that keeps equal shapes apart, the last one of `calt`, rules that look over other letters.

    Parameters
    ----------
    made
        A font with the features that `fontbuild.formats.features.near_turns` leaves.
    names
        Variants by character, the first one being the encoded glyph.
    """
    gsub = made["GSUB"].table
    (calt,) = {tuple(r.Feature.LookupListIndex) for r in gsub.FeatureList.FeatureRecord if r.FeatureTag == "calt"}
    turn, apart = calt
    known = set(made.getGlyphOrder())
    turned = {c: v for c, v in turned_over(names).items() if known.issuperset(v)}
    for k in range(max(len(v) for v in turned.values())):
        (table,) = gsub.LookupList.Lookup[turn + 1 + k].SubTable
        table.ExtSubTable.mapping = {name: v[k] for v in turned.values() if len(v) > k for name in v}
    lookup = gsub.LookupList.Lookup[apart]
    lookup.SubTable = [
        _extension(_rules(variants, turn + 1, SIGHT if char.isalpha() else SHORT_SIGHT))
        for char, variants in turned.items()
    ]
    lookup.SubTableCount = len(lookup.SubTable)


def _rules(variants: Sequence[str], first_shape: int, sight: int) -> otTables.ChainContextSubst:
    """Return the rules of one character; lookup `first_shape` + k gives its shape k, from 0."""
    table = otTables.ChainContextSubst()
    table.Format = 2
    table.Coverage = otTables.Coverage()
    table.Coverage.glyphs = list(variants)
    table.BacktrackClassDef = otTables.ClassDef()
    table.BacktrackClassDef.classDefs = {name: k for k, name in enumerate(variants, 1)}
    table.InputClassDef, table.LookAheadClassDef = otTables.ClassDef(), otTables.ClassDef()
    table.InputClassDef.classDefs, table.LookAheadClassDef.classDefs = {}, {}
    found = otTables.ChainSubClassSet()
    # the nearest of its kind decides: its rules come first
    found.ChainSubClassRule = [
        _rule([OTHERS] * distance + [k], first_shape + k % len(variants))
        for distance in range(sight + 1)
        for k in range(1, len(variants) + 1)
    ]
    found.ChainSubClassRuleCount = len(found.ChainSubClassRule)
    table.ChainSubClassSet, table.ChainSubClassSetCount = [found], 1
    return table


def _rule(backtrack: list[int], lookup: int) -> otTables.ChainSubClassRule:
    rule = otTables.ChainSubClassRule()
    rule.Backtrack, rule.BacktrackGlyphCount = backtrack, len(backtrack)
    rule.Input, rule.InputGlyphCount = [], 1
    rule.LookAhead, rule.LookAheadGlyphCount = [], 0
    record = otTables.SubstLookupRecord()
    record.SequenceIndex, record.LookupListIndex = 0, lookup
    rule.SubstLookupRecord, rule.SubstCount = [record], 1
    return rule


def _extension(table: otTables.ChainContextSubst) -> otTables.ExtensionSubst:
    out = otTables.ExtensionSubst()
    out.Format, out.ExtensionLookupType, out.ExtSubTable = 1, 6, table
    return out
