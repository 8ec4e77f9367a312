from __future__ import annotations

from collections import Counter
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from ownhand.composer import Composer, Life, Pen, PlotPage, Ruling, Settings
from ownhand.composer.glyphs.variant_bank import POOL, VariantBank
from ownhand.composer.glyphs.variant_selector import VariantSelector
from ownhand.composer.layout.letterspacing import leaning_edges
from ownhand.composer.plot.plot_page import flatten
from ownhand.composer.variation.handwriting_statistics import DRAWN, Scatter, scatter_of
from ownhand.composer.variation.noise import ar1_noise, pink_noise
from tests.ownhand.composing import LETTER, composer
from tests.ownhand.hershey_font import X_HEIGHT, hershey_font
from tests.ownhand.measuring import Measured, letters_of, measured, returns

STANDS = "abcdehiklmnorstuvwxz"
STEMS = "bdhiklmnprtu"
RULED = Settings(ruling=Ruling(11.0, 15.0), joins=False)


@lru_cache(maxsize=64)
def composed(life: Life, seed: int, settings: Settings) -> tuple[PlotPage, ...]:
    return tuple(composer().compose(LETTER * 4, replace(settings, life=life), seed=seed))


def pages_of(life: Life, seeds: int = 9, settings: Settings = RULED) -> list[PlotPage]:
    return [page for seed in range(seeds) for page in composed(life, seed, settings)]


@lru_cache(maxsize=32)
def figures(life: Life, seeds: int = 9) -> Measured:
    return measured(pages_of(life, seeds), x_height_mm=3.0, pitch_mm=11.0, offset_mm=15.0, stands=STANDS, stems=STEMS)


def test_no_shape_comes_back_within_three_lines_of_ten_thousand_characters() -> None:
    text = LETTER * 22
    pages = composer().compose(text, Settings(joins=False), seed=3).pages
    stamped = composer(variants=1).compose(text, Settings(joins=False, life=Life(strength=0)), seed=3).pages

    # 24 micrometres: HP-GL's unit
    found, font = (returns(p, x_height_mm=3.0, tolerance=0.008) for p in (pages, stamped))

    assert len(text) > 10_000
    assert found.pairs > 50_000
    assert found.same == 0
    assert font.same == font.pairs


def test_doubled_letters_are_never_alike() -> None:
    text = "gallery tall lamp better boots see meet off bell "
    pages = composer().compose(text * 20, Settings(joins=False), seed=1).pages

    apart = []
    for page in pages:
        for letter in np.unique(page.letter)[1:]:
            if page.chars[letter] == page.chars[letter - 1]:
                a, b = (
                    np.vstack([page.path(k) for k in np.flatnonzero(page.letter == n)]) for n in (letter - 1, letter)
                )
                if len(a) < 8:  # straight lines cannot be told apart by shape
                    continue
                apart.append(np.sqrt(((a - a.mean(0) - b + b.mean(0)) ** 2).sum(1).mean()) / 3.0)
    assert len(apart) > 100
    assert min(apart) > 0.02


def test_all_variants_are_used_evenly() -> None:
    bank = VariantBank(hershey_font())

    written = VariantSelector(bank, np.random.default_rng(1), variants=1.0, blends=0.0).choose("e" * 400)[0]
    blended = VariantSelector(bank, np.random.default_rng(1), variants=1.0, blends=1.0).choose("e" * 4000)[0]

    assert bank.pools["e"].written == 5
    few, many = Counter(written.tolist()), Counter(blended.tolist())
    assert len(few) == 5
    assert max(few.values()) < 1.4 * min(few.values())
    assert len(many) == POOL
    assert max(many.values()) < 1.4 * min(many.values())


def test_natural_life_varies_as_asked() -> None:
    # values asked for: `variation.handwriting_statistics`, after UNIPEN train_r01_v07 (Guyon et al., ICPR 1994)
    asked, found = composer().scatter, figures(Life())

    assert found.foot_sd == pytest.approx(asked.foot, rel=0.25)
    assert found.height_sd == pytest.approx(asked.height, rel=0.25)
    assert found.width_sd == pytest.approx(asked.width, rel=0.25)
    assert found.slant_sd_deg == pytest.approx(asked.slant_deg, rel=0.25)
    assert found.height_of_lines_sd == pytest.approx(asked.line_height, rel=0.25)
    assert found.slant_of_lines_sd_deg == pytest.approx(asked.line_slant_deg, rel=0.25)
    assert found.level_sd == pytest.approx(asked.line_level, rel=0.25)
    assert found.slope_sd_deg == pytest.approx(asked.line_slope_deg, rel=0.25)
    assert abs(found.slope_mean_deg) < 0.2
    assert found.gap_sd == pytest.approx(asked.letter_gap, rel=0.25)
    assert found.word_gap_sd == pytest.approx(asked.word_gap_share * found.word_gap_mean, rel=0.25)


def test_the_letters_of_a_word_are_alike_in_pose_as_writers_write_them() -> None:
    # UNIPEN train_r01_v07 (Guyon et al., ICPR 1994), fifteen writers of donors kai and art: correlation of height
    # within words .23, of width .18, of slant .20; from writer to writer they differ by .14
    found = letters_of(pages_of(Life(), 6))
    word = found.page * 100_000 + found.word
    wide = np.maximum(found.right - found.left, 0.5)
    poses = {"height": np.log(found.top - found.foot), "width": np.log(wide), "slant": found.lean_deg}
    for name, own in poses.items():
        known = np.array([c in "aenhrdubp" for c in found.char]) & ~np.isnan(own)
        values, chars, words = own[known], found.char[known], word[known]
        for c in set(chars):
            values[chars == c] -= values[chars == c].mean()
        together = [values[words == k] for k in np.unique(words) if (words == k).sum() > 1]
        both = sum(float(v.sum() ** 2 - (v**2).sum()) for v in together)
        share = both / sum(len(v) * (len(v) - 1) for v in together) / float(values.var())
        assert 0.1 < share < 0.4, name


def test_the_defaults_are_what_writers_did() -> None:
    # UNIPEN train_r01_v07 (Guyon et al., ICPR 1994): foot, height, width and slant lie between the middle halves of
    # fifteen writers with marked letters (kai, art), slope and level of lines between art03 and art08
    plain = Scatter()

    assert 0.08 <= plain.foot <= 0.12
    assert 0.10 <= plain.height <= 0.18
    assert 0.17 <= plain.width <= 0.21
    assert 3.7 <= plain.slant_deg <= 5.3
    assert 0.07 <= plain.line_level <= 0.14
    assert 0.4 <= plain.line_slope_deg <= 0.5


def test_a_tidy_hand_stays_tidier_than_an_untidy_one() -> None:
    tidy, untidy, one = (scatter_of(hershey_font(scatter=s, variants=v)) for s, v in ((0.3, 5), (1.6, 5), (1.0, 1)))

    for name in ("foot", "height", "width", "slant_deg", "line_height", "line_slant_deg"):
        assert getattr(tidy, name) < 0.8 * getattr(untidy, name)
    assert one == DRAWN


def test_a_drawn_font_varies_as_people_do_and_its_tall_letters_by_less_than_its_small_ones() -> None:
    """With what fifteen people did on a tablet, small letters with an accent came out as tall as capitals."""
    font = Composer(hershey_font(scatter=0.0, variants=1))
    pages = [p for seed in range(6) for p in font.compose(LETTER * 4, RULED, seed=seed)]
    found = measured(pages, x_height_mm=3.0, pitch_mm=11.0, offset_mm=15.0, stands=STANDS, stems=STEMS)
    letters = letters_of(pages)

    def scatter(chars: str) -> float:
        tall = np.log(letters.top - letters.foot)
        rest = [tall[letters.char == c] - tall[letters.char == c].mean() for c in chars]
        return float(np.concatenate(rest).std())

    # means of 59 people: DigiLeTs (Fabi, Otte, Wiese and Butz 2020), UJI Pen Characters 2 (Llorens et al., LREC 2008),
    # UNIPEN train_r01_v07 (Guyon et al., ICPR 1994); of all letters .10, .15 and 4.2 degrees, small .115, tall .092
    assert found.height_sd == pytest.approx(0.10, abs=0.015)
    assert found.width_sd == pytest.approx(0.15, abs=0.02)
    assert found.slant_sd_deg == pytest.approx(4.2, abs=0.8)
    assert scatter("aceorsu") == pytest.approx(0.115, abs=0.015)
    assert scatter("dhkl") == pytest.approx(0.092, abs=0.015)


def test_only_the_next_letters_foot_remembers() -> None:
    # UNIPEN's two writers: +0.2 and +0.4 at lag 1, nothing at lag 4
    found = figures(Life())

    assert found.foot_lag1 == pytest.approx(composer().scatter.foot_memory, rel=0.25)
    assert abs(found.foot_lag4) < 0.12


@pytest.mark.parametrize("setting", ["foot", "height", "width", "slant", "letter_gap", "word_gap", "level", "slope"])
def test_each_setting_goes_from_nil_to_strong(setting: str) -> None:
    still = Life(
        **{**dict.fromkeys(("foot", "height", "width", "slant", "letter_gap", "word_gap", "level", "slope"), 0)}
    )
    field = {
        "foot": "foot_sd", "height": "height_sd", "width": "width_sd", "slant": "slant_sd_deg", "letter_gap": "gap_sd",
        "word_gap": "word_gap_sd", "level": "level_sd", "slope": "slope_sd_deg",
    }[setting]  # fmt: skip

    nil, plain, strong = (getattr(figures(replace(still, **{setting: s}), 3), field) for s in (0.0, 1.0, 2.0))

    assert nil < 0.75 * plain
    assert strong > 1.25 * plain


def test_half_and_twice_as_much_life_come_out_as_that() -> None:
    half, plain, twice = (figures(Life(strength=s)) for s in (0.5, 1.0, 2.0))

    for name in ("foot_sd", "height_sd", "width_sd", "level_sd", "slope_sd_deg", "word_gap_sd"):
        whole = getattr(plain, name)
        assert 0.35 * whole < getattr(half, name) < 0.75 * whole
        assert 1.6 * whole < getattr(twice, name) < 2.6 * whole


def test_no_life_at_all_is_a_plain_font() -> None:
    pages = composer().compose(LETTER, replace(RULED, life=Life(strength=0)), seed=1).pages

    found = returns(pages, x_height_mm=3.0, within_lines=50, tolerance=1e-6)
    assert found.same == found.pairs > 1000


def test_what_the_variants_carry_is_not_added_twice() -> None:
    wild = hershey_font(scatter=1.4)
    asked = scatter_of(wild)

    pages = Composer(wild).compose(LETTER * 8, RULED, seed=1).pages

    found = measured(pages, x_height_mm=3.0, pitch_mm=11.0, offset_mm=15.0, stands=STANDS, stems=STEMS)
    assert found.height_sd == pytest.approx(asked.height, rel=0.2)
    assert found.width_sd == pytest.approx(asked.width, rel=0.2)


def test_the_hands_own_rhythm_comes_before_the_defaults() -> None:
    rhythm = {"foot_sd": 0.05 * X_HEIGHT, "word_gap": 2.0 * X_HEIGHT, "word_gap_sd": 0.5 * X_HEIGHT,
              "letter_gap_sd": 0.22 * X_HEIGHT, "line_slope_sd_deg": 0.2,
              "line_level_sd": 0.04 * X_HEIGHT}  # fmt: skip
    font = replace(hershey_font(), rhythm=rhythm)
    asked = scatter_of(font)

    own = Composer(font)
    pages = [p for s in range(8) for p in own.compose(LETTER * 4, RULED, seed=s)]
    found = measured(pages, x_height_mm=3.0, pitch_mm=11.0, offset_mm=15.0, stands=STANDS, stems=STEMS)

    # the rhythm's gaps are measured between inks, those of pages between the lines that the pen's middle draws
    between = 2.0 + font.metrics.pen_width / X_HEIGHT
    assert (asked.foot, asked.word_gap, asked.word_gap_share) == pytest.approx((0.05, between, 0.5 / between))
    assert found.slope_sd_deg == pytest.approx(0.2, rel=0.35)
    assert found.level_sd == pytest.approx(0.04, rel=0.35)
    # pairs of letters differ by 0.13 by nature
    assert asked.letter_gap == pytest.approx(np.sqrt(0.22**2 - 0.13**2))
    assert found.gap_sd == pytest.approx(0.22, rel=0.25)
    assert found.word_gap_mean == pytest.approx(between, rel=0.1)
    assert found.word_gap_sd == pytest.approx(0.5, rel=0.25)


def test_the_scatter_of_gaps_is_the_hands_own_as_far_as_its_gaps_were_seen() -> None:
    def scatter(**rhythm: float) -> float:
        return scatter_of(replace(hershey_font(), rhythm={k: v * X_HEIGHT for k, v in rhythm.items()})).letter_gap

    def seen(share: float) -> float:
        return scatter(letter_gap_sd=0.14, letter_white=0.4, letter_gap_share=share / X_HEIGHT)

    own, usual = float(np.sqrt(0.14**2 - 0.13**2)), 0.1 + 0.15 * 0.4
    assert seen(1.0) == pytest.approx(own)
    assert seen(0.0) == pytest.approx(usual) == scatter(letter_white=0.4)
    assert own < seen(0.8) < seen(0.3) < usual
    assert scatter(letter_gap_sd=0.01) == pytest.approx(0.03), "no hand is quite even"


def test_an_even_hand_makes_less_of_what_its_pairs_of_letters_differ_by() -> None:
    plain = hershey_font("futural", 5, 1.0)
    x = plain.metrics.x_height

    def share(own: float) -> float:
        rhythm = {"letter_gap_sd": own * x, "pair_gap_sd": 0.1 * x, "letter_gap_share": 1.0}
        return scatter_of(replace(plain, rhythm=rhythm)).pair_share

    assert share(0.2) == 1.0
    # variances add: .05 squared is .03 squared, the least scatter, and what the pairs differ by squared
    assert share(0.05) == pytest.approx(0.4)
    assert scatter_of(plain).pair_share == 1.0


def test_evened_gaps_are_as_wide_in_the_mean_and_nearer_to_each_other() -> None:
    found = []
    for share in (1.0, 0.4):
        scatter = replace(scatter_of(hershey_font("futural", 5, 1.0)), letter_gap=0.0, pair_share=share)
        made = Composer(hershey_font("futural", 5, 1.0), scatter=scatter).compose(LETTER * 4, RULED, seed=1)
        letters = letters_of(list(made.pages))
        inside = (letters.word[1:] == letters.word[:-1]) & (letters.page[1:] == letters.page[:-1])
        found.append((letters.left[1:] - letters.right[:-1])[inside] / 3.0)

    wide, even = found
    assert even.std() < 0.8 * wide.std()
    assert even.mean() == pytest.approx(wide.mean(), abs=0.02)


def test_what_words_and_lines_have_in_common_is_the_hands_own_as_far_as_it_is_known() -> None:
    def share(found: float, error: float) -> float:
        rhythm = {"line_width_share": found, "line_width_share_error": error}
        return scatter_of(replace(hershey_font(), rhythm=rhythm)).line_width_share

    assert share(0.0, 0.0) == 0.0
    assert share(0.2, 0.0) == pytest.approx(0.2)
    assert share(0.0, 0.1) == pytest.approx(0.05)
    assert share(0.0, 9.0) == pytest.approx(Scatter().line_width_share, abs=0.001)
    assert share(-0.3, 0.01) == 0.0


def test_a_leaning_letters_box_is_wider_to_the_right_over_the_middle_and_to_the_left_under_it() -> None:
    bank = VariantBank(hershey_font())
    tall, hanging = bank.pool("l").first, bank.pool("p").first
    bank.settle()

    left, right = leaning_edges(bank, np.array([tall, hanging]), np.array([0.2, 0.2]), X_HEIGHT)

    assert right[0] > 0.15 * X_HEIGHT
    assert left[1] < -0.15 * X_HEIGHT
    assert np.abs(np.concatenate(leaning_edges(bank, np.array([tall]), np.zeros(1), X_HEIGHT))).max() == 0.0


def test_unruled_writing_wanders_more_than_ruled() -> None:
    only = Life(foot=0, height=0, slant=0, level=0)

    def wander(settings: Settings) -> float:
        found = letters_of(pages_of(only, 5, settings))
        rests = []
        for key in {(a, b) for a, b in zip(found.page, found.line, strict=True)}:
            at = (found.page == key[0]) & (found.line == key[1]) & np.isin(found.char, list("aenorsuvwxz"))
            if at.sum() > 12:
                x, foot = found.left[at], found.foot[at]
                rests.append(foot - np.polyval(np.polyfit(x, foot, 1), x))
        return float(np.concatenate(rests).std()) / 3.0

    assert wander(RULED) < 0.05
    # what is slower than a line is taken for its level and slope: a third
    assert wander(Settings(joins=False, line_spacing=1.2)) == pytest.approx(2 / 3 * Scatter().drift, rel=0.2)


def test_a_letter_that_was_written_once_and_high_comes_down_and_one_that_hangs_stays() -> None:
    font = hershey_font(variants=5)
    shift = {"n": 0.2, "g": 0.2, "h": 0.2}
    few = {c: font.glyphs[c][: 5 if c == "h" else 1] for c in shift}
    raised = {
        c: tuple(replace(g, strokes=tuple(s + np.array([0.0, by * X_HEIGHT]) for s in g.strokes)) for g in few[c])
        for c, by in shift.items()
    }

    def middle_foot(made: Composer, char: str) -> float:
        pages = [made.compose((char + "ol") * 60, RULED, seed=seed).pages[0] for seed in range(3)]
        found = [letters_of([p]) for p in pages]
        feet = [np.median(f.foot[f.char == char]) - np.median(f.foot[f.char == "l"]) for f in found]
        return float(np.mean(feet)) / 3.0

    plain = Composer(replace(font, glyphs={**font.glyphs, **few}))
    high = Composer(replace(font, glyphs={**font.glyphs, **raised}))
    up = {c: middle_foot(high, c) - middle_foot(plain, c) for c in shift}

    assert up["n"] < 0.5 * 0.2, "chance"
    assert up["g"] == pytest.approx(0.2, abs=0.05)
    assert up["h"] > 0.5 * 0.2, "five attempts agree"


def test_the_slow_wander_has_power_like_one_over_f() -> None:
    # van der Ziel 1950: a sum of AR(1) series with time constants octaves apart falls off about as 1/f between them
    rng = np.random.default_rng(1)
    power = np.mean([np.abs(np.fft.rfft(pink_noise(rng, 2048))) ** 2 for _ in range(60)], axis=0)
    frequency = np.fft.rfftfreq(2048)
    band = (frequency > 1 / 300) & (frequency < 1 / 12)

    slope = np.polyfit(np.log(frequency[band]), np.log(power[band]), 1)[0]

    assert -1.6 < slope < -0.7


def test_a_remembering_series_keeps_its_variance() -> None:
    rng = np.random.default_rng(2)

    series = ar1_noise(rng.standard_normal(200_000), 0.6)

    assert series.std() == pytest.approx(1.0, abs=0.02)
    assert np.corrcoef(series[1:], series[:-1])[0, 1] == pytest.approx(0.6, abs=0.02)


def test_neighbouring_letters_are_not_written_over_each_other() -> None:
    page = composer().compose("illicit " * 30, Settings(joins=False), seed=2).pages[0]

    crossings = 0
    for letter in np.unique(page.letter)[1:]:
        a, b = (np.vstack([page.path(k) for k in np.flatnonzero(page.letter == n)]) for n in (letter - 1, letter))
        word = [page.word[np.flatnonzero(page.letter == n)[0]] for n in (letter - 1, letter)]
        same_word = word[0] == word[1]
        crossings += bool(same_word and a[:, 0].mean() >= b[:, 0].mean())
    assert crossings == 0


def test_letters_of_a_hand_that_writes_wide_come_as_seldom_near_each_other_as_its_writers() -> None:
    def near(white: float, *, letter_gap: float = 0.35, pens: float = 0.5) -> float:
        """Return the share of neighbours whose lines are nearer than so many pen widths."""
        plain = hershey_font("futural", 5, 1.0)
        x = plain.metrics.x_height
        closer = {
            c: tuple(replace(g, advance=g.advance - (0.5 - white) * x) for g in v) if c.isalpha() else v
            for c, v in plain.glyphs.items()
        }
        font = replace(plain, glyphs=closer, rhythm={"letter_white": white * x})
        scatter = replace(scatter_of(font), letter_gap=letter_gap)
        page = Composer(font, scatter=scatter).compose("noon illicit cocoon ebbed " * 20, Settings(joins=False), seed=3)
        (only,) = page.pages
        points, starts = flatten(only.points_mm, only.starts, within_mm=0.02)
        letter, word = np.repeat(only.letter, np.diff(starts)), np.repeat(only.word, np.diff(starts))
        ink = {n: points[letter == n] for n in np.unique(letter)}
        of = {n: word[letter == n][0] for n in ink}
        apart = [
            float(np.hypot(*(ink[n][:, None] - ink[n + 1][None]).transpose(2, 0, 1)).min())
            for n in ink
            if of.get(n + 1) == of[n]
        ]
        return float(np.mean(np.array(apart) < pens * only.pen_mm))

    # UNIPEN train_r01_v07, donors kai and art: .03 of those with a white over .4 x-heights, .24 of those under .25
    assert near(0.5) < 0.03
    assert near(0.2) > 0.06
    # nearer than a pen: .09 of those who write wide, with gaps that scatter by .16 x-heights
    assert near(0.5, letter_gap=0.16, pens=1.0) > 0.1


def test_words_stay_apart_even_where_a_capital_leans_over_a_full_stop() -> None:
    pages = [composer().compose("fog. Tea. To. Yes. " * 40, RULED, seed=s).pages[0] for s in range(3)]
    found = letters_of(pages)

    between = (found.word[1:] != found.word[:-1]) & (found.line[1:] == found.line[:-1])
    between &= found.page[1:] == found.page[:-1]
    gaps = (found.left[1:] - found.right[:-1])[between] / 3.0

    assert between.sum() > 100
    assert gaps.min() > 0.3


def test_in_small_writing_a_comma_still_is_no_dot() -> None:
    def heights(size_mm: float, pen_mm: float) -> np.ndarray:
        settings = Settings(joins=False, x_height_mm=size_mm, pens=(Pen(width_mm=pen_mm),), life=Life(strength=0.5))
        found = letters_of(composer().compose("tea, fog, sea, " * 12, settings, seed=1).pages)
        return (found.top - found.foot)[found.char == ","]

    assert heights(1.2, 0.6).min() > 1.3 * heights(1.2, 0.1).min()
