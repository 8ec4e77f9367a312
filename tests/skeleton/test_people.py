"""What the tracer is fitted on: people's strokes read from files, parted by person, and made into weights and forms."""

from __future__ import annotations

import gzip
import json
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from skeleton.cues import pen_events
from skeleton.ductus import allographs
from skeleton.fitted_values import load_fitted_values
from skeleton.scoring.confidence import LOG_ODDS
from skeleton.small_networks import PROVENANCE
from tests.bench import trace_confidence, trace_forms, trace_weights
from tests.bench.people import BY_LOT, fits_choice, part, trains_network
from tests.bench.trace import main as trace_bench
from tests.bench.trace_data import people, stored
from tests.bench.trace_reliability import (
    bins,
    calibration_error,
    calibration_error_by_chance,
    wrong_among_least_sure,
)
from tests.bench.trace_spline import spline
from tests.bench.training import examples
from tests.bench.training.examples import tasks
from tests.bench.training.samples import stored as written
from tests.bench.training.specks import visible

CHARS = "lc"


def records(writers: int, attempts: int = 1) -> list[dict[str, object]]:
    """Return invented characters of invented people: a stem or a bow, each person's a little other."""
    out = []
    for k in range(writers):
        rng = np.random.default_rng(k)
        for char in CHARS:
            for attempt in range(attempts):
                t = np.linspace(0, 1, 24)[:, None]
                stem = np.hstack([0.2 * np.sin(2 * t) * rng.normal(), 6.5 * t])
                turn = np.deg2rad(-60 - 250 * t)
                bow = np.hstack([1.6 * np.cos(turn), 1.8 * np.sin(turn)])
                line = (stem if char == "l" else bow) * rng.uniform(0.9, 1.1, 2)
                out.append(
                    {
                        "name": f"{k}_{char}_{attempt}",
                        "char": char,
                        "writer": f"p{k:03d}",
                        "strokes": [np.round(line - line.min(axis=0), 3).tolist()],
                    }
                )
    return out


@pytest.fixture(scope="module")
def unipen(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a file of eighty invented people, named as the large data set."""
    file = tmp_path_factory.mktemp("people") / "unipen_chars.json.gz"
    file.write_bytes(gzip.compress(json.dumps(records(80)).encode()))
    return file


@pytest.fixture
def nobody_simulated(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave out the characters of the simulated writers, which take seconds to write: this is about people."""
    monkeypatch.setattr(examples, "museum", lambda attempts: [])


def test_points_sampled_in_time_are_joined_by_a_smooth_line_through_them(tmp_path: Path) -> None:
    """The radius between the points of a circle; on its chords it would fall to 0.92 (cosine of half the step)."""
    turn = np.linspace(0, np.pi, 5)
    points = np.stack([np.cos(turn), np.sin(turn), 0.02 * np.arange(5), np.full(5, 0.4)], axis=1)
    file = tmp_path / "digilets.json"
    file.write_text(json.dumps([{"name": "n", "char": "c", "writer": "7", "strokes": [points.tolist()]}]), "utf-8")

    (case,) = stored(file)

    line = case.strokes[0]
    assert line.shape[1] == 2 and np.hypot(*np.diff(line, axis=0).T).max() < 0.06
    inner = line[(line[:, 0] > -0.7) & (line[:, 0] < 0.7)]
    assert np.hypot(*inner.T).min() > 0.97
    for p in points[:, :2]:
        assert np.hypot(*(line - p).T).min() < 1e-6


def test_the_spline_is_near_a_cubic_spline_where_the_points_are_even() -> None:
    """SciPy's natural cubic spline through the same even samples of a slow wave."""
    x = np.linspace(0, 6, 13)
    found = spline(np.stack([x, np.sin(x)], axis=1), 0.02)
    np.testing.assert_allclose(found[:, 1], CubicSpline(x, np.sin(x))(found[:, 0]), atol=0.02)


def test_a_pen_that_stood_still_leaves_no_gap_in_the_spline() -> None:
    still = np.array([[0.0, 0.0], [0.0, 0.0], [1.0, 0.0], [1.0, 0.0], [2.0, 1.0]])
    assert np.isfinite(spline(still, 0.05)).all()
    assert len(spline(np.zeros((4, 2)), 0.05)) == 1


def test_a_file_that_holds_no_characters_is_refused_by_name(tmp_path: Path) -> None:
    file = tmp_path / "odd.json.gz"
    file.write_bytes(b"no archive")
    with pytest.raises(ValueError, match=r"odd\.json\.gz: not a list of characters"):
        list(stored(file))


def test_a_file_of_words_holds_no_characters(tmp_path: Path) -> None:
    (tmp_path / "unipen_words.json").write_text(json.dumps([{"name": "n", "text": "harbour", "strokes": []}]), "utf-8")
    assert people(tmp_path, "all") == {}


@pytest.mark.usefixtures("nobody_simulated")
def test_measured_fitted_and_calibrated_people_have_nobody_in_common(unipen: Path) -> None:
    parts = {kind: {c.writer for c in people(unipen, kind).get("unipen_chars", [])} for kind in ("train", "val", "out")}
    everybody = {c.writer for c in people(unipen, "all")["unipen_chars"]}
    network = {w.writer for w in written([unipen]) if w.trains}
    choice = {t.case.writer for t in tasks([unipen], 1, 1) if t.group.startswith("unipen/")}
    confidence = {c.writer for source, c in trace_confidence.cases([unipen], 1000) if source in BY_LOT}

    assert set.union(*parts.values()) == everybody and sum(map(len, parts.values())) == len(everybody)
    assert network and choice and confidence
    assert network | choice <= parts["train"] and not network & choice
    assert confidence <= parts["val"]


@pytest.mark.usefixtures("nobody_simulated")
def test_nothing_is_fitted_on_broken_records(tmp_path: Path) -> None:
    every = records(60)
    for r in every:
        r["writer"] = f"tos/{r['writer']}"
    file = tmp_path / "unipen_chars.json"
    file.write_text(json.dumps(every), "utf-8")
    assert people(file, "out"), "they are measured all the same"
    assert not [t for t in tasks([file], 1, 1) if t.group.startswith("unipen/")]
    assert not [c for source, c in trace_confidence.cases([file], 9) if source == "unipen"]
    assert not written([file]) and not trace_forms.by_character(people(file, "all"))


def test_who_trains_the_network_does_not_fit_the_choice() -> None:
    for source in BY_LOT:
        for k in range(300):
            assert not (fits_choice(source, str(k)) and trains_network(source, str(k)))
            assert not (fits_choice(source, str(k)) and part(source, str(k)) != "train")


def test_the_bench_reads_only_people_left_out(unipen: Path, capsys: pytest.CaptureFixture[str]) -> None:
    asked = ["--data", str(unipen), "--sets", "unipen_chars", "--quick", "--cores", "1"]
    assert trace_bench(asked) == 0
    line = capsys.readouterr().out.splitlines()[1].split()
    assert line[0] == "unipen_chars"
    assert int(line[1]) == len(people(unipen, "out")["unipen_chars"])


def test_the_bench_prints_how_reliable_confidence_is(unipen: Path, capsys: pytest.CaptureFixture[str]) -> None:
    asked = ["--data", str(unipen), "--sets", "unipen_chars", "--reliability", "-n", "8", "--cores", "1"]
    assert trace_bench(asked) == 0
    out = capsys.readouterr().out
    assert "expected calibration error" in out and "the least sure tenth holds" in out


def test_an_unknown_data_set_is_refused_with_those_there_are(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        trace_bench(["--sets", "nobody"])
    assert "no data set nobody; there are kanjivg" in capsys.readouterr().err


def test_calibration_error_is_the_mean_gap_of_the_bins() -> None:
    """Worked by hand after Naeini, Cooper & Hauskrecht (2015): 0.95 with 3 of 4 right, 0.15 with 1 of 6."""
    confidence = np.array([0.95] * 4 + [0.15] * 6)
    right = np.array([True, True, True, False, True, *[False] * 5])
    assert calibration_error(confidence, right) == pytest.approx(0.4 * 0.2 + 0.6 * abs(0.15 - 1 / 6))
    assert [b.count for b in bins(confidence, right)] == [6, 4]


def test_true_confidences_of_few_readings_have_a_calibration_error_by_chance() -> None:
    """Worked by hand: one reading right with probability p is off by 1 - p or by p, 2 p (1 - p) on the average."""
    for p in (0.5, 0.9):
        assert calibration_error_by_chance(np.array([p])) == pytest.approx(2 * p * (1 - p), abs=0.04)
    # of many in one bin, the mean absolute deviation of a binomial share, for which the normal law gives
    # sqrt(2 p (1 - p) / (pi n))
    many = calibration_error_by_chance(np.full(2000, 0.85))
    assert many == pytest.approx(np.sqrt(2 * 0.85 * 0.15 / (np.pi * 2000)), rel=0.1)


def test_the_interval_of_a_share_is_wilsons() -> None:
    """As SciPy's `binomtest` has it."""
    from scipy.stats import binomtest

    (b,) = bins(np.full(4, 0.9), np.array([True, True, True, False]))
    want = binomtest(3, 4).proportion_ci(method="wilson")
    assert (b.low, b.high) == pytest.approx((want.low, want.high), abs=1e-6)


def test_the_least_sure_tenth_is_told_by_the_wrong_ones_in_it() -> None:
    confidence = np.linspace(0.1, 0.9, 20)
    right = np.ones(20, bool)
    right[[0, 10]] = False
    assert wrong_among_least_sure(confidence, right) == 0.5
    assert np.isnan(wrong_among_least_sure(confidence, np.ones(20, bool)))


def test_a_speck_on_other_ink_is_no_stroke_and_a_dot_aside_is_one() -> None:
    stem = np.array([[0.0, 0.0], [0.0, 6.0]])
    assert len(visible([stem, np.array([[0.1, 3.0]])])) == 1
    assert len(visible([stem, np.array([[0.0, -2.0]])])) == 2
    assert len(visible([np.array([[0.0, 0.0]])] * 3)) == 1
    assert len(visible([stem, stem[::-1]])) == 2, "a line gone over again is written, though it leaves no ink"


def test_a_form_that_several_people_write_and_no_table_has_is_found(tmp_path: Path) -> None:
    """An l with a flag to the left and a foot to the right, in two strokes, by half of the people."""
    every = records(60)
    flagged = 0
    for r in every:
        if r["char"] == "l" and int(str(r["writer"])[1:]) % 2:
            rng = np.random.default_rng(flagged)
            flagged += 1
            zig = np.array([[-3.0, 2.5], [0.0, 0.0], [0.0, 6.5]]) + rng.normal(0, 0.1, (3, 2))
            r["strokes"] = [zig.tolist(), (np.array([[-1.5, 6.5], [3.0, 6.5]]) + rng.normal(0, 0.1, (2, 2))).tolist()]
    file = tmp_path / "unipen_chars.json"
    file.write_text(json.dumps(every), "utf-8")
    table = tmp_path / "observed.json"

    assert trace_forms.main(["--data", str(file), "--chars", "l", "--write", str(table)]) == 0

    made = json.loads(table.read_text("utf-8"))
    trained = {r["writer"] for r in every if r["char"] == "l" and part("unipen", str(r["writer"])) == "train"}
    flags = {w for w in trained if int(str(w)[1:]) % 2}
    found = made["characters"]["l"]
    assert found["people"] == len(trained)
    (form,) = [f for f in found["forms"] if len(f["strokes"]) == 2]
    assert form["share"] == pytest.approx(len(flags) / (len(trained) + trace_forms.TABLE_PEOPLE), abs=1e-4)
    first = np.array(form["strokes"][0])
    assert first[0, 0] < first[-1, 0] and first[0, 1] > first[-1, 1], "y up, as it was written"
    assert len(allographs("l")[0].strokes) == 1
    assert made["provenance"]["date"] == date.today().isoformat()
    assert made["provenance"]["fitted_on"][0]["name"].startswith("UNIPEN")


def test_confidence_is_fitted_and_says_on_what(unipen: Path, tmp_path: Path) -> None:
    file = tmp_path / "log_odds.json"
    assert trace_confidence.main(["--data", str(unipen), "--most", "6", "--cores", "1", "--write", str(file)]) == 0
    made = load_fitted_values(file)
    assert made.names == LOG_ODDS.names
    assert made.date == date.today().isoformat()
    assert any(d["name"].startswith("UNIPEN") for d in made.fitted_on)
    assert not np.array_equal(made.end_to_end(), LOG_ODDS.end_to_end())


def test_the_fit_of_confidence_finds_the_odds_that_made_the_data() -> None:
    rng = np.random.default_rng(2)
    rows = np.column_stack([np.ones(20000), rng.normal(0, 1, (20000, 2))])
    odds = np.array([0.5, 1.5, -1.0])
    right = rng.random(20000) < trace_confidence.probability(rows, odds)
    np.testing.assert_allclose(trace_confidence.fit(rows, right, np.ones(20000)), odds, atol=0.08)


def test_the_choice_is_fitted_on_people_and_says_on_whom(unipen: Path, tmp_path: Path) -> None:
    file = tmp_path / "costs.json"
    asked = [
        "--data",
        str(unipen),
        "--inks",
        "1",
        "--most",
        "6",
        "--share",
        "0.1",
        "--cores",
        "1",
        "--write",
        str(file),
    ]
    assert trace_weights.main(asked) == 0
    made = load_fitted_values(file)
    assert any("UNIPEN" in d["name"] and d["licence"] == "CC BY 4.0" for d in made.fitted_on)


@pytest.mark.parametrize("file", [pen_events.OF_CHARACTERS, pen_events.OF_WORDS])
def test_a_network_is_kept_with_what_it_was_trained_on(file: str) -> None:
    with np.load(Path(pen_events.__file__).with_name(file)) as kept:
        told = json.loads(bytes(kept[PROVENANCE]).decode())
    assert date.fromisoformat(told["date"])
    assert told["recipe"]
    assert {"UNIPEN", "DigiLeTs"} <= {d["name"].split(" (")[0] for d in told["fitted_on"]}
