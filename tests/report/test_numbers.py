"""That tables, JSON, CSV and rig-file lines say the same numbers, and those that were reckoned."""

import csv
import io
import re
import sys
import tomllib
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

import presolder as ps
from presolder.models.instrument.dirt import Dirt
from presolder.models.instrument.expression import parse_expression
from presolder.models.instrument.law import Taper, fraction_below_wiper
from presolder.models.instrument.network import leaves
from presolder.models.instrument.quantities import parse_quantity
from presolder.models.instrument.stage import Stage
from presolder.render.report.catalogue import DesignList
from presolder.render.report.cleanup import CleanupReport
from presolder.render.report.pickup import PickupReport
from presolder.render.report.table import Table

RIG = "humbucker-500k"


def cells(lines: list[str], head: str) -> list[list[str]]:
    """The rows of the table whose head begins so, cut where two blanks are."""
    at = next(i for i, line in enumerate(lines) if line.startswith(head))
    end = next((i for i in range(at, len(lines)) if not lines[i]), len(lines))
    rows = [re.split(r"  +", line.strip()) for line in lines[at + 1 : end]]
    return [row for row in rows if len(row) > 1]


def number(text: str) -> float:
    return float(re.sub(r"[^0-9.+-]", "", text.replace("±", "").replace("−", "-")))


@pytest.fixture(scope="module")
def cleaned() -> CleanupReport:
    return ps.cleanup(RIG, ["bare", "cap"], dirt=Dirt("smooth"))


@pytest.mark.slow
def test_cleanup(cleaned: CleanupReport) -> None:
    file = io.StringIO()
    cleaned.write_csv(file)
    rows = list(csv.DictReader(io.StringIO(file.getvalue())))
    told = cleaned.plain()["designs"]
    assert len(rows) == sum(len(one["dials"]) for one in told)
    for design, figure, one in zip(("bare", "cap"), cleaned.figures, told, strict=True):
        own = [row for row in rows if row["design"] == design]
        assert [float(row["dial"]) for row in own] == one["dials"] == pytest.approx(figure.dial)
        for key, values, digits in (
            ("thd_percent", 100 * figure.thd, 4),
            ("level_db", figure.level_db, 3),
            ("treble_db", figure.treble_db, 3),
        ):
            assert one[key] == pytest.approx(values, abs=0.51e-4)
            written = [row[key] for row in own]
            assert [float(text) for text in written] == pytest.approx(values, abs=0.51 / 10**digits)
            assert all(len(text.partition(".")[2]) == digits for text in written)
        for percent in (10, 3):
            dial = one[f"clean_below_{percent}_percent_dial"]
            # By what is drawn: there the distortion passes the mark.
            assert np.interp(dial, figure.dial, 100 * figure.thd) == pytest.approx(percent, rel=0.1)
            marks = [float(row[f"clean_below_{percent}_percent"]) for row in own]
            assert marks == pytest.approx([dial] * len(own), abs=0.0051)
    ideal, *others = cells(cleaned.lines(), "design")
    assert ideal[0] == "ideal knob"
    for row, one, under in zip(sorted(others), told, cleaned.played, strict=True):
        played = one["played"]
        assert row[0] == one["design"]
        tens = [one[f"clean_below_{percent}_percent_dial"] for percent in (10, 3)]
        tens.append(played["clean_below_10_percent_dial"])
        assert [number(text) for text in row[1:4]] == pytest.approx(tens, abs=0.051)
        assert number(row[4]) == pytest.approx(under.edge_left_db, abs=0.51)
        assert number(row[5]) == pytest.approx(under.unevenness_db, abs=0.051)
        assert played["edge_left_db"] == pytest.approx(under.edge_left_db, abs=0.0051)
        assert played["unevenness_db"] == pytest.approx(under.unevenness_db, abs=0.0051)
        assert played["distortion_percent"] == pytest.approx(100 * under.distortion, abs=0.51e-4)
        assert played["level_db"] == pytest.approx(under.level_db, abs=0.51e-4)
        assert played["brightness_db"] == pytest.approx(under.brightness_db, abs=0.51e-4)
        assert all(round(db, 2) == db for db in (played["edge_left_db"], played["unevenness_db"]))


@pytest.mark.thorough
@pytest.mark.parametrize("dirt", [Dirt("smooth"), Stage("silicon-fuzz")])
def test_what_follows_the_dirt_moves_its_level_alone(dirt: Dirt | Stage) -> None:
    asked = {"designs": ["cap"], "dials": [10.0, 5.0]}
    plain = ps.cleanup(RIG, dirt=dirt, **asked)
    softer = ps.cleanup(RIG, dirt=replace(dirt, level_db=-6.0), **asked)
    for one, other in zip(plain.figures, softer.figures, strict=True):
        assert other.level_db == pytest.approx(one.level_db - 6.0, abs=1e-9)
        assert other.thd == pytest.approx(one.thd, abs=1e-12)
        assert other.treble_db == pytest.approx(one.treble_db, abs=1e-12)


def test_taper() -> None:
    read = {float(dial): 517_234.0 * (dial / 10) ** 2 for dial in range(1, 11)}
    report = ps.taper_at_lugs(read)
    track, told = report.track, report.plain()
    rows = cells(report.lines(), "dial ")
    assert [number(row[0]) for row in rows] == list(read)
    for row, ohms, fraction, error in zip(
        rows, read.values(), track.fraction, track.fraction_error, strict=True
    ):
        # Four figures, as a meter has them.
        assert parse_quantity(row[1], "ohm") == pytest.approx(ohms, rel=0.51e-3)
        assert number(row[1]) == float(f"{number(row[1]):.4g}")
        assert parse_quantity(row[1], "ohm") == pytest.approx(float(f"{ohms:.4g}"), rel=1e-9)
        assert number(row[2]) == pytest.approx(100 * fraction, abs=0.051)
        assert number(row[3]) == pytest.approx(100 * error, abs=0.051)
    assert told["ohms"] == pytest.approx(list(read.values()), rel=1e-6)
    assert told["fraction"] == pytest.approx(track.fraction, abs=0.51e-4)
    section = tomllib.loads("\n".join(report.toml()))["volume"]
    assert parse_quantity(section["resistance"], "ohm") == pytest.approx(
        track.track_ohms, rel=0.002
    )


@pytest.mark.parametrize(
    ("middle", "verdict"), [(0.13, "as is usual"), (0.3, "more than is usual")]
)
def test_sections_by_their_own_readings(middle: float, verdict: str) -> None:
    """Two logarithmic sections, of which one has 0.11 of its track at half."""
    dial, fine = np.arange(1.0, 11.0), np.linspace(0.5, 9.5, 1000)
    one, other = Taper("audio", 0.11), Taper("audio", middle)
    report = ps.taper_at_lugs(
        *(
            dict(zip(dial, 5e5 * fraction_below_wiper(law, dial), strict=True))
            for law in (one, other)
        )
    )
    assert any(
        line.startswith("The readings fit an audio track with 0.11") for line in report.lines()
    )
    linear = ps.taper_at_lugs({float(n): 5e4 * n for n in dial}).lines()
    assert any(line.startswith("The readings fit a linear track, as far") for line in linear)
    (line,) = [line for line in report.lines() if line.startswith("The two sections")]
    apart = np.abs(fraction_below_wiper(one, fine) - fraction_below_wiper(other, fine)).max()
    found = re.fullmatch(r"The two sections are at most (\S+) % of the track apart, (.*)\.", line)
    assert found is not None and found[2] == verdict
    assert float(found[1]) == pytest.approx(100 * apart, abs=0.06 + 0.1 * apart)


def test_pickup_with_its_controls() -> None:
    """Lines for the rig file are what was fitted."""
    rig = ps.rig(RIG).as_recorded
    coil = ps.coil_from_readings(8e3, 6000.0, 3000.0, 470e-12).coil
    report = PickupReport(coil, 2, rig)
    section = tomllib.loads("\n".join(report.toml()))
    told, fitted = report.plain(), report.rig
    assert fitted is not None and fitted.first.tone is not None
    for found, key, unit, wanted in (
        ("pickup", "inductance", "henry", told["inductance_henries"]),
        ("pickup", "capacitance", "farad", told["capacitance_farads"]),
        ("volume", "resistance", "ohm", told["volume_ohms"]),
        ("volume", "resistance", "ohm", fitted.first.volume.resistance_ohms),
        ("tone", "resistance", "ohm", fitted.first.tone.pot.resistance_ohms),
        ("tone", "capacitance", "farad", fitted.first.tone.capacitance_farads),
        ("cable", "capacitance", "farad", fitted.cable_farads),
        ("cable", "capacitance", "farad", told["cable_farads"]),
    ):
        assert parse_quantity(section[found][key], unit) == pytest.approx(wanted, rel=1e-3)


def test_travel() -> None:
    wanted = ps.turn_wanted("halfway at 5")
    report = ps.travel(RIG, wanted, pots=[], topologies=["cap"], top=1)
    told = report.plain()
    assert len(told["best"]) == 1
    (best,), (now,) = alone(told["best"]), alone([told["now"]])
    assert best["dials"] == pytest.approx(np.arange(0.5, 10.5, 0.5))
    # By the response at 500 Hz, as near as a level over the whole phrase lies to it.
    by_tone = ps.curves(RIG, ["bare"], best["dials"]).plain()["designs"][0]["level_db"]
    assert now["level_db"] == pytest.approx(by_tone, abs=3.0)
    rows = cells(report.lines(), "Level in dB")
    head = [int(text) for text in rows[0]]
    for row, one in zip(rows[1:], (best, now), strict=True):
        levels = dict(zip(one["dials"], one["level_db"], strict=True))
        assert [number(text) for text in row[-len(head) :]] == pytest.approx(
            [levels[dial] for dial in head], abs=0.51
        )
    with pytest.raises(ps.InputError, match="top"):
        ps.travel(RIG, wanted, pots=[], topologies=["cap"], top=0)


def test_need() -> None:
    report = ps.need(RIG)
    (told,) = report.plain()["situations"]
    rows = cells(report.lines(), "dial ")
    bare = told["bare"]
    assert [number(row[0]) for row in rows] == bare["dials"]
    for at, row in enumerate(rows):
        assert number(row[2]) == pytest.approx(bare["duller_db"][at], abs=0.051)
        assert number(row[3]) == pytest.approx(bare["brighter_db"][at], abs=0.051)
        hz = told["resonance_hz"][at]
        assert (hz is None) == (row[5] == "none")
        if hz is not None:
            assert number(row[5].partition(" Hz")[0]) == pytest.approx(hz, abs=0.51)
    asit, *rows = cells(report.lines(), "remedy")
    assert asit[0] == "as it is" and len(asit) == 4
    for row, remedy in zip(rows, told["remedies"], strict=True):
        assert row[0] == remedy["what"]
        for cell, key in ((row[2], "duller_db"), (row[3], "brighter_db")):
            mean = np.dot(remedy[key], remedy["counts"])
            assert number(cell) == pytest.approx(mean, abs=0.051)
        assert (row[4] == "no") == (not remedy["helps"]) == (remedy["nearer_db"] < 0.5)
        if remedy["helps"]:
            assert number(row[4]) == pytest.approx(remedy["nearer_db"], abs=0.051)
    nearer = [one["nearer_db"] for one in told["remedies"]]
    assert all(one >= other for one, other in pairwise(nearer))


def test_texts_in_tables_stay_as_they_are() -> None:
    """A code like 1e3 is no number, and blanks in front of a text are its own."""
    table = Table(("name", "a", "b"), (("1e3", "010", "  5"), ("x", "1", "12")))
    assert table.lines() == ["name    a    b", "1e3   010    5", "x       1   12"]
    html = table.html()
    assert re.findall(r"<td[^>]*>(.*?)\s*</td>", html) == ["1e3", "010", "  5", "x", "  1", " 12"]


def test_designs_and_rigs() -> None:
    """What a list says of a design can be given again."""
    made = [ps.design(one) for one in ("bare", "cap", "68k + 1n5", "gang(500k, audio) || 1n")]
    for row, design in zip(cells(DesignList(tuple(made)).lines(), "design"), made, strict=True):
        assert row[0] == design.name
        again = None if row[1] == "-" else parse_expression(row[1])
        assert again == design.network


def alone(designs: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """What is told of designs over one situation, with what is told of it."""
    return [one | own for one in designs for own in one["situations"].values()]


def test_compare() -> None:
    report = ps.compare(RIG, ["bare", "cap", "series", "gang-series"])
    rows, told = cells(report.lines(), "place"), alone(report.plain()["designs"])
    assert [row[0].strip("[]") for row in rows] == [str(rank + 1) for rank in range(len(told))]
    opened = 0
    for row, one in zip(rows, told, strict=True):
        opened += row[0].startswith("[") - row[0].endswith("]")
        assert opened in (0, 1)
        assert row[1] == one["design"]
        whole = next(its for its in report.ranked if its.design.name == one["design"])
        assert number(row[3]) == pytest.approx(whole.score_db, abs=0.0051)
        low, _, high = row[4].partition("-")
        assert [float(low), float(high)] == pytest.approx(whole.spread_db, abs=0.051)
        at = 5
        if one["nearer_of_100"] is not None:
            assert number(row[5]) == one["nearer_of_100"]
            at = 6
        means = [
            np.dot(one[key], one["counts"])
            for key in ("duller_db", "brighter_db", "taper_shift_phon")
        ]
        assert [number(text) for text in row[at : at + 3]] == pytest.approx(means, abs=0.051)
        assert number(row[at + 3]) == pytest.approx(one["leftover_phon"], abs=0.51)
        network = ps.design(one["design"]).network
        assert row[at + 4].partition(",")[0] == str(len(leaves(network)))
        # Taper and tone as root of a weighed sum of squares, and the score of both.
        counts = np.array(one["counts"])
        assert counts.sum() == pytest.approx(1.0, abs=2e-4)
        rms = np.sqrt(counts @ np.square(one["taper_shift_phon"]))
        assert one["taper_phon"] == pytest.approx(rms, rel=1e-3, abs=1e-3)
        tone = np.array(one["duller_db"]) + one["brighter_db"]
        assert one["tone_db"] == pytest.approx(np.sqrt(counts @ tone**2), rel=1e-3)
        weighed = 0.85 * one["tone_db"] + 0.15 * one["taper_phon"]
        own = next(iter(report.plain()["situations"]))["name"]
        assert next(
            its["situations"][own]["score_db"]
            for its in report.plain()["designs"]
            if its["design"] == one["design"]
        ) == pytest.approx(weighed, abs=1e-3)
    level = {one["design"]: np.array(one["level_phon"]) for one in told}
    shift = {one["design"]: np.array(one["taper_shift_phon"]) for one in told}
    for name, own in level.items():
        # Against one ideal, whatever the design.
        assert own - level["bare"] == pytest.approx(shift[name] - shift["bare"], abs=2e-4)


@pytest.mark.slow
def test_situations_weigh_as_they_say() -> None:
    heard = ps.situations("three-single-coils")
    report = ps.compare(heard, ["bare", "cap"])
    told = report.plain()
    weights = {one["name"]: one["weight"] for one in told["situations"]}
    listed = cells(report.lines(), "   situation")
    assert [row[1] for row in listed] == list(weights)
    for row, weight in zip(listed, weights.values(), strict=True):
        assert number(row[2]) == pytest.approx(100 * weight / sum(weights.values()), abs=0.51)
    share = np.array(list(weights.values())) / sum(weights.values())
    for row, one, its in zip(
        cells(report.lines(), "place"), told["designs"], report.ranked, strict=True
    ):
        scores = {name: own["score_db"] for name, own in one["situations"].items()}
        # What was played through a dirt counts by itself, the others by guitars like it.
        each = [
            own if at == "dirt" else drawn.mean()
            for own, drawn, at in zip(its.scores_db, its.drawn_db, its.heard_at, strict=True)
        ]
        assert one["score_db"] == pytest.approx(share @ each, abs=1e-3)
        assert number(row[2]) == pytest.approx(share @ each, abs=0.0051)
        worst = max(scores, key=lambda name: scores[name])
        at = 3 if one["nearer_of_100"] is None else 4
        assert one["worst_in"] == worst and row[at] == "ABCD"[list(scores).index(worst)]
        assert [number(text) for text in row[at + 1 : at + 5]] == pytest.approx(
            list(scores.values()), abs=0.0051
        )


def test_curves() -> None:
    dials = [10.0, 5.0, 2.0]
    report = ps.curves(RIG, ["bare", "cap"], dials, hz=[500.0, 3000.0])
    told = report.plain()["designs"]
    for head, key in (("level", "level_db"), ("treble", "treble_db")):
        rows = cells(report.lines(), head)
        assert rows[0] == ["at 10", "at 5", "at 2"]
        for row, one in zip(rows[1:], told, strict=True):
            assert row[0] == one["design"]
            assert [number(text) for text in row[1:]] == pytest.approx(one[key], abs=0.051)
    for one, at in zip(told, ("bare", "cap"), strict=True):
        gain = np.array(one["gain_db"])
        assert gain == pytest.approx(
            ps.response_db(RIG, at, hz=[500.0, 3000.0], dial=dials), abs=1e-3
        )
        assert one["level_db"] == pytest.approx(gain[:, 0] - gain[0, 0], abs=2e-4)
        octave = ps.response_db(RIG, at, hz=np.geomspace(2000, 4000, 200), dial=dials)
        treble = np.mean(octave, axis=1) - gain[:, 0]
        assert one["treble_db"] == pytest.approx(treble - treble[0], abs=0.3)


def test_spread_of_builds() -> None:
    report = ps.curves(RIG, ["cap"], [10.0, 5.0], hz=[500.0], spread=ps.Spread(), draws=80)
    (told,) = report.plain()["designs"]
    for head, key in (("level", "level_db"), ("treble", "treble_db")):
        percentiles = told["tolerance"][key]
        (row,) = cells(report.lines(), head)[1:]
        found = [[float(text) for text in re.findall(r"[-+]?\d+\.\d", cell)] for cell in row[1:]]
        wanted = np.array([told[key], percentiles["p5"], percentiles["p95"]]).T
        assert np.array(found) == pytest.approx(wanted, abs=0.051)
    parts = {one["part"]: one for one in told["tolerance"]["parts"]}
    rows = cells(report.lines(), "part ")
    assert {row[0] for row in rows} == set(parts)
    order = [parts[row[0]]["treble_share"] + parts[row[0]]["level_share"] for row in rows]
    assert order == sorted(order, reverse=True)
    for row in rows:
        part = parts[row[0]]
        assert number(row[1]) == pytest.approx(100 * part["level_share"], abs=0.51)
        assert number(row[2]) == pytest.approx(100 * part["treble_share"], abs=0.51)
        assert number(row[3]) == pytest.approx(part["largest_change_db"], abs=0.051)
        assert row[4] == ("yes" if part["largest_change_db"] >= 1.0 else "no")


def test_order_adds_up_what_jobs_share() -> None:
    jobs = [(RIG, "series"), ("single-coil-250k", "330k + 180p"), (RIG, "180p || 180p")]
    report = ps.order(jobs)
    told = report.plain()
    assert told["jobs"] == 3
    quantity = {one["what"]: one["quantity"] for one in told["orders"]}
    assert quantity == {"resistor 330 kΩ": 2, "capacitor 180 pF": 4}
    rows = cells(report.lines(), "     part")
    assert {" ".join(row[1].split()): int(row[0].rstrip(" x")) for row in rows} == quantity


def test_cable_by_length() -> None:
    report = ps.cable_by_length(5.5)
    told = report.plain()
    section = tomllib.loads("\n".join(report.toml()))["cable"]
    assert parse_quantity(section["capacitance"], "farad") == told["capacitance_farads"]
    assert told["capacitance_farads"] == pytest.approx(5.5 * 110e-12)
    assert "605 pF" in report.lines()[0] and "110 pF a metre" in report.lines()[0]
    assert f"±{100 * told['error']:.0f} %" in report.lines()[0]


def test_an_audition_says_how_long_and_loud_it_is() -> None:
    """Peak by numpy; loudness of a file by its standard, within a tenth of that of pyloudnorm."""
    import pyloudnorm

    take = ps.sample("phrase")
    made = ps.render(take, RIG, ["bare", "cap"], ps.turn(10, 4, travel=1.0, rest=0.5))
    rows, told = cells(made.lines(), "design"), made.plain()["designs"]
    for row, one, (name, audio) in zip(rows, told, made.items(), strict=True):
        assert row[0] == one["design"] == name
        assert number(row[1]) == pytest.approx(audio.shape[1] / take.sample_rate_hz, abs=0.0051)
        peak_db = 20 * np.log10(np.abs(audio).max())
        assert one["peak_dbfs"] == pytest.approx(peak_db, abs=1e-6)
        assert number(row[2].partition(" ")[0]) == pytest.approx(peak_db, abs=0.051)
        lufs = pyloudnorm.Meter(take.sample_rate_hz, "DeMan").integrated_loudness(audio.T)
        assert one["integrated_lufs"] == pytest.approx(lufs, abs=0.1)
        assert number(row[3].partition(" ")[0]) == pytest.approx(lufs, abs=0.15)


@pytest.mark.thorough
def test_frames_have_what_is_told() -> None:
    """A row a design and situation, or a design, dial and frequency; the numbers of the JSON."""
    compared = ps.compare("split-humbucker", ["bare", "cap"])
    frame = compared.to_frame()
    assert len(frame) == 6 and set(frame["situation"]) == {"in series", "in parallel", "one coil"}
    for one in compared.plain()["designs"]:
        for place, own in one["situations"].items():
            (row,) = frame[(frame.design == one["design"]) & (frame.situation == place)].to_dict(
                "records"
            )
            for key in ("score_db", "tone_db", "taper_phon", "leftover_phon"):
                assert row[key] == pytest.approx(own[key], abs=1e-4)
            mean = np.dot(own["duller_db"], own["counts"])
            assert row["duller_db"] == pytest.approx(mean, abs=1e-3)
    found = ps.tailor(RIG, topologies=["cap", "series"], series="E6", top=2)
    assert found.to_frame()["design"].tolist() == [one["design"] for one in found.plain()["best"]]
    curves = ps.curves(RIG, ["cap"], [10, 5], hz=[500, 3000])
    (told,) = curves.plain()["designs"]
    assert curves.to_frame()["gain_db"].tolist() == pytest.approx(
        np.ravel(told["gain_db"]).tolist(), abs=1e-4
    )
    cleaned = ps.cleanup(RIG, ["bare"], dials=[4, 8])
    (told,) = cleaned.plain()["designs"]
    assert cleaned.to_frame()["thd_percent"].tolist() == pytest.approx(
        told["thd_percent"], abs=1e-4
    )


def test_frames_without_the_library(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pandas", None)
    with pytest.raises(ps.InputError, match="to_frame needs pandas: pip install pandas"):
        ps.curves(RIG, ["cap"], [5], hz=[500]).to_frame()


def test_draws_are_what_the_percentiles_are_of() -> None:
    drawn = ps.builds(RIG, "cap", [7, 4], draws=60, seed=3)
    assert drawn.strayed.shape == (60, len(drawn.parts))
    assert np.percentile(drawn.drawn_level_db, 5, axis=0) == pytest.approx(drawn.level_db[0])
    assert np.percentile(drawn.drawn_treble_db, 95, axis=0) == pytest.approx(drawn.treble_db[2])
    # The build itself, from its parts.
    at = [part.name for part in drawn.parts].index("120p")
    assert np.abs(drawn.strayed[:, at]).max() <= ps.Spread().capacitor
    rig, off = (
        ps.rig(RIG),
        dict(zip((part.name for part in drawn.parts), drawn.strayed[0], strict=True)),
    )
    pot = rig.volume
    built = replace(
        rig.with_volume(
            ps.Pot(
                pot.resistance_ohms * (1 + off["volume pot"]),
                replace(pot.taper, midpoint=pot.taper.midpoint + off["taper midpoint"]),
            )
        ),
        cable_farads=rig.cable_farads * (1 + off["cable"]),
    )
    design = ps.design(f"{120 * (1 + off['120p']):.9g}p")
    levels = np.asarray(ps.response_db(built, design, [10, 7, 4], 500))
    assert drawn.drawn_level_db[0] == pytest.approx(levels[1:] - levels[0], abs=1e-6)
