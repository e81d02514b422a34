"""The search for values against exhaustive judging, and against a case with a known answer."""

import json
from dataclasses import replace
from itertools import product
from pathlib import Path

import numpy as np
import pytest

from ears import ear_of
from presolder.models.circuit.equations import chain_equations
from presolder.models.circuit.ports import bridged, combined, leaf_admittance, open_chain
from presolder.models.circuit.response import transfer
from presolder.models.decibels import decibels
from presolder.models.errors import InputError
from presolder.models.instrument.built_in import BUILT_IN, built_in_designs
from presolder.models.instrument.controls import Pickup, Pot
from presolder.models.instrument.expression import parse_expression
from presolder.models.instrument.law import Taper
from presolder.models.instrument.network import (
    Capacitor,
    Network,
    Resistor,
    format_network,
    leaves,
    shape_text,
    with_parts,
)
from presolder.models.instrument.preferred import preferred_values
from presolder.models.instrument.topologies import DEFAULT_SHAPES
from presolder.models.judging.ear import Ear
from presolder.models.judging.estimate import estimate
from presolder.models.judging.merit import merit, merits
from presolder.models.judging.ranking import score
from presolder.models.judging.search import Shelf, common_shelf, dual_pot_gangs, front, tailor
from presolder.render.files.rig_file import built_in_rigs, find_rig, find_situations
from rigs import single
from running import in_process

GANGS = dual_pot_gangs((250e3, 500e3))
SMALL = Shelf(
    tuple(map(Resistor, preferred_values("E6", 100e3, 900e3))),
    tuple(map(Capacitor, preferred_values("E6", 100e-12, 900e-12))),
    GANGS,
)


def judged(ear: Ear, shape: Network, shelf: Shelf, weight: float) -> list[tuple[float, str]]:
    """Every combination by the full figures, best first; what spoils the knob last."""
    options = [shelf.options(leaf) for leaf in leaves(shape)]
    networks = [with_parts(shape, parts) for parts in product(*options)]
    tried = sorted(
        (
            bool(figures.spoilt),
            float(score(figures.taper_phon, figures.tone_db, weight)),
            format_network(network),
        )
        for network, figures in zip(networks, merits(ear, networks), strict=True)
    )
    return [(points, name) for _, points, name in tried]


@pytest.mark.parametrize(
    ("rig_name", "text", "weight"),
    [
        ("humbucker-500k", "1k + (1k || 1n)", 0.6),
        ("humbucker-500k", "gang(1k) || 1n", 1.0),
        ("two-pickups", "1k + (1k || 1n)", 0.85),
        ("two-pickups", "gang(1k) + 1n", 0.6),
    ],
)
def test_search_equals_brute_force(rig_name: str, text: str, weight: float) -> None:
    ear, shape = ear_of(find_rig(rig_name), tone_weight=weight), parse_expression(text)
    expected = judged(ear, shape, SMALL, weight)
    found = tailor((ear,), (shape,), SMALL)
    for (points, name), one in zip(expected[:5], found, strict=False):
        assert format_network(one.network) == name
        assert score(one.taper_phon, one.tone_db, weight) == pytest.approx(points, abs=1e-4)


def test_refining_a_coarse_grid_equals_brute_force() -> None:
    ear, shape = ear_of(find_rig("humbucker-500k")), parse_expression("1k + 1n")
    shelf = Shelf(
        tuple(map(Resistor, preferred_values("E24", 100e3, 900e3))),
        tuple(map(Capacitor, preferred_values("E24", 100e-12, 900e-12))),
        (),
    )
    expected = judged(ear, shape, shelf, 0.85)
    found = tailor((ear,), (shape,), shelf, most_combinations=49)
    assert [format_network(one.network) for one in found[:5]] == [name for _, name in expected[:5]]


@pytest.mark.slow
def test_screening_misses_nothing_that_ears_would_miss() -> None:
    """The default search against all of a topology's E12 values by the full measure."""
    ear, shape = ear_of(find_rig("humbucker-500k")), parse_expression("1k || 1n")
    shelf = Shelf(
        tuple(map(Resistor, preferred_values("E12", 1e3, 1e6))),
        tuple(map(Capacitor, preferred_values("E12", 10e-12, 10e-9))),
        (),
    )
    best, _ = judged(ear, shape, shelf, ear.conditions.tone_weight)[0]
    first = tailor((ear,), (shape,), shelf)[0]
    reached = score(first.taper_phon, first.tone_db, ear.conditions.tone_weight)
    assert reached == pytest.approx(best, abs=0.02)


def test_front_equals_brute_force() -> None:
    ear, shape = ear_of(find_rig("single-coil-250k")), parse_expression("1k || 1n")
    everything = merits(ear, _all(shape))
    pairs = sorted((f.taper_phon, f.tone_db) for f in everything if not f.spoilt)
    expected: list[tuple[float, float]] = []
    for taper, tone in pairs:
        if not expected or tone < expected[-1][1]:
            expected.append((taper, tone))
    found = front(tailor((ear,), (shape,), SMALL))
    assert [(f.taper_phon, f.tone_db) for f in found] == [
        pytest.approx(pair, abs=1e-4) for pair in expected
    ]


def _all(shape: Network) -> list[Network]:
    options = [SMALL.options(leaf) for leaf in leaves(shape)]
    return [with_parts(shape, parts) for parts in product(*options)]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("dial", "cable", "expected"), [(5.0, 470e-12, "470p"), (6.0, 220e-12, "330p")]
)
def test_compensated_attenuator(dial: float, cable: float, expected: str) -> None:
    """C_bypass = C_cable R_lower / R_upper keeps every frequency alike.

    Horowitz and Hill, The Art of Electronics, oscilloscope probe compensation
    (from memory). An ideal source and a linear pot left at one dial.
    """
    rig = single(Pickup(1e-2, 1e-6), Pot(500e3, Taper("linear")), None, cable)
    shelf = Shelf(
        tuple(map(Resistor, preferred_values("E12", 1e3, 1e6))),
        tuple(map(Capacitor, preferred_values("E12", 1e-11, 1e-8))),
        dual_pot_gangs((250e3, 500e3)),
    )
    ear = ear_of(rig, tone_weight=0.99, left_at=[dial])
    # Such a capacitor is far too bright lower down; only this dial is wanted here.
    wanted = np.array([20 * np.log10(dial / 10)])
    ear = replace(ear, conditions=replace(ear.conditions, wanted_db=wanted))
    found = tailor((ear,), DEFAULT_SHAPES, shelf)
    assert format_network(found[0].network) == expected
    assert found[0].tone_db < 0.01


@pytest.mark.parametrize("rig_name", list(built_in_rigs()))
def test_bridged_chain_equals_the_whole_circuit(rig_name: str) -> None:
    rig = find_rig(rig_name)
    hz, dials = np.geomspace(20, 16_000, 30), np.array([0.5, 3.0, 7.0, 9.9, 10.0])
    chain = open_chain(rig, hz, dials)
    for design in BUILT_IN[1:]:
        network = design.network
        assert network is not None
        admittance = tuple(
            combined(network, iter([leaf_admittance(leaf, chain.s, d) for leaf in leaves(network)]))
            for d in chain.dial
        )
        whole = transfer(chain_equations(rig, network), hz, dials)
        assert np.abs(bridged(chain, admittance) / whole - 1).max() < 1e-10


def test_default_shapes_are_all_there_is() -> None:
    """Of R and C up to three parts: the irreducible series-parallel ones, and R for G once."""
    texts = {shape_text(shape) for shape in DEFAULT_SHAPES}
    assert len(texts) == len(DEFAULT_SHAPES) == 15
    plain = {text for text in texts if "G" not in text}
    assert plain == {
        "C", "R || C", "R + C",
        "R + (R || C)", "R || (R + C)", "C || (R + C)", "C + (R || C)",
    }  # fmt: skip
    once = {
        text[:i] + "G" + text[i + 1 :] for text in plain for i, c in enumerate(text) if c == "R"
    }
    assert {text for text in texts if "G" in text} == once


@pytest.mark.slow
@pytest.mark.parametrize(
    "rig_name",
    [
        one if one == "piezo-buffered" else pytest.param(one, marks=pytest.mark.thorough)
        for one in built_in_rigs()
    ],
)
def test_command_on_every_rig(rig_name: str) -> None:
    where = ("--rig", rig_name, "--in", find_situations(rig_name)[0].name)
    options = (*where, "--resistors", "100k:1M", "--capacitors", "100p:1n",
               "--series", "E6")  # fmt: skip
    result = json.loads(in_process("tailor", *options, "--json"))
    assert result["designs_searched"] > 2_000
    compared = json.loads(in_process("compare", *where, "--json"))["designs"]
    fitted = {entry["design"]: entry for entry in compared if entry["design"] != "bare"}
    best = result["best_built_in"]
    assert fitted[best["design"]]["score_db"] == pytest.approx(best["score_db"], abs=1e-4)
    tapers = [point["taper_phon"] for point in result["front"]]
    tones = [point["tone_db"] for point in result["front"]]
    assert tapers == sorted(tapers) and tones == sorted(tones, reverse=True)
    # In figures that a reader may compare: four decimals.
    assert [round(one, 4) for one in [*tapers, *tones]] == [*tapers, *tones]
    ear = ear_of(find_rig(rig_name))
    for design in result["best"]:
        network = parse_expression(design["expression"])
        (told,) = design["situations"].values()
        assert told["tone_db"] == pytest.approx(merit(ear, network).tone_db, abs=1e-3)
        if design["better_than_built_in_db"] is not None:
            assert shape_text(network) == design["topology"]
        assert not design["special_order"]


@pytest.mark.slow
def test_table_and_plot(tmp_path: Path) -> None:
    options = ("--topology", "series", "--series", "E6", "--plot", str(tmp_path / "front.svg"),
               "--top", "1")  # fmt: skip
    text = in_process("tailor", *options)
    assert "designs of E6 values in 1 topology, of " in text
    assert "comes first, " in text and "on 100 of 100 guitars like yours" in text
    picture = (tmp_path / "front.svg").read_text()
    assert "gang-series" in picture and "treble lost and gained" in picture


@pytest.mark.slow
def test_values_of_common_practice_unless_all_are_wanted() -> None:
    """13 resistors and 17 capacitors of E12 from 47k to 470k and 100p to 2n2; for a pot of a tenth
    of the smallest common one, values a tenth and ten times as large. All: 37 each, IEC 60063."""
    asked = ("tailor", "--topology", "series", "--json")
    assert json.loads(in_process(*asked))["designs_searched"] == 13 * 17
    every = json.loads(in_process(*asked, "--any-values"))
    assert every["designs_searched"] == 37 * 37
    small = common_shelf(Pot(25e3))
    assert (small.resistors[0].ohms, small.resistors[-1].ohms) == pytest.approx((4.7e3, 47e3))
    assert small.capacitors[0].farads == pytest.approx(1e-9)


@pytest.mark.slow
def test_a_winner_at_the_edge_is_said_to_be() -> None:
    asked = ("tailor", "--topology", "series", "--resistors", "330k:1M", "--top", "1")
    (best,) = json.loads(in_process(*asked, "--json"))["best"]
    assert best["expression"].startswith("330k") and "330 kΩ" in best["at_the_edge"]
    assert "330 kΩ is at the edge of what was searched" in in_process(*asked)
    wide = ("tailor", "--topology", "series", "--top", "1")
    (best,) = json.loads(in_process(*wide, "--json"))["best"]
    assert best["at_the_edge"] == []
    assert "at the edge" not in in_process(*wide)


@pytest.mark.slow
def test_special_orders_never_win() -> None:
    options = ("--topology", "gang-series", "--gangs", "100k,1M", "--series", "E6")
    result = json.loads(in_process("tailor", *options, "--json"))
    assert all(design["special_order"] for design in result["best"])
    assert result["first"] == "bare"


@pytest.mark.slow
def test_a_resistor_alone_beside_a_linear_pot_only_spoils_the_taper() -> None:
    options = ("--topology", "10k", "--series", "E6", "--keep", "taper")
    text = in_process("tailor", "--rig", "single-coil-250k", *options)
    assert "Nothing found is audibly nearer to the guitar at 10, only turned down" in text


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (("--topology", "bare"), "--topology: bare has no parts"),
        (("--topology", "1k+(1k||(1n+(1k||1n)))"), "has 5 parts; at most 4 are searched"),
        (("--resistors", "1M:1k"), "--resistors '1M:1k' must be smallest:largest"),
        (("--resistors", "5"), "--resistors '5'"),
        (("--capacitors", "101p:101p"), "no E12 value lies between these"),
        (("--gangs", "huge"), "--gangs huge: 'huge' is not a value in ohms"),
        (("--gangs", "none", "--topology", "gang-series"), "there are no parts of a kind"),
        (("--top", "101"), "--top 101 must lie between 1 and 100"),
        (("--top", "0"), "--top 0 must lie between 1 and 100"),
        (("--plot", "front.gif"), "--plot 'front.gif' must end in .png or .svg"),
    ],
)
def test_nonsense(options: tuple[str, ...], says: str) -> None:
    with pytest.raises(InputError) as caught:
        in_process("tailor", *options)
    assert says in str(caught.value)


@pytest.mark.parametrize(
    ("name", "taper_phon", "tone_db"),
    [
        ("humbucker-500k", 0.7, 0.9),
        ("single-coil-250k", 0.6, 0.3),
        ("low-impedance-fuzz", 4.0, 2.2),
    ],
)
def test_the_quick_estimate_is_near_the_full_measure(
    name: str, taper_phon: float, tone_db: float
) -> None:
    """Of the built-in designs; measured 0.6 phon and 0.8 dB, 0.3 and 0.3, 3.1 and 1.7 at most."""
    ear = ear_of(find_rig(name))
    dials = ear.conditions.dials
    weighed = estimate(ear, np.arange(dials.size))
    at = np.concatenate([[10.0], dials])
    networks = [design.network for design in built_in_designs(ear.rig)]
    gain_db = [
        decibels(transfer(chain_equations(ear.rig.as_heard, one), weighed.frequency_hz, at))
        for one in networks
    ]
    gains, bare_db = np.array(gain_db), gain_db[networks.index(None)]
    taper, tone = weighed.taper_and_tone(gains[:, 1:], bare_db[0])
    full = merits(ear, networks)
    assert taper == pytest.approx([one.taper_phon for one in full], abs=taper_phon)
    assert tone == pytest.approx([one.tone_db for one in full], abs=tone_db)
    # And what it puts first is among what the measure puts first.
    best = min(full, key=lambda one: one.tone_db)
    assert full[int(np.argmin(tone))].tone_db < best.tone_db + 0.2
