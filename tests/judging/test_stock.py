"""The drawer: searching what is there, equals with the commonest parts first, one order."""

import json
from itertools import product
from pathlib import Path

import pytest

import presolder as ps
from ears import ear_of
from presolder.models.errors import InputError
from presolder.models.instrument.controls import Pot
from presolder.models.instrument.expression import parse_expression
from presolder.models.instrument.law import Taper
from presolder.models.instrument.network import Capacitor, Gang, Resistor, Series, leaves
from presolder.models.judging.merit import merit
from presolder.models.judging.ranking import EQUAL_DB, score
from presolder.render.files.rig_file import find_rig
from presolder.render.files.stock import read_stock
from running import in_process, presolder_here

DRAWER = """type,value,count,tolerance,price
resistor,100k,10,1%,0.05
Resistor,.15meg,4,1%,0.05
resistor,330k,1,5%,0.05
resistor,470k,0,5%,0.05

capacitor,470p,3,5%,0.10
capacitor,.001uf,10,10%,0.08
capacitor,1n,2,10%,0.09
dual-pot,A500K/B250K,1,20%,6.50
dual-pot,B500K/B250K,5,20%,6.50
"""


@pytest.fixture
def drawer(tmp_path: Path) -> Path:
    file = tmp_path / "drawer.csv"
    file.write_text(DRAWER)
    return file


def test_what_a_drawer_has(drawer: Path) -> None:
    """Spellings are one; of dual pots those whose first section is like the volume pot."""
    counts = read_stock(drawer).counts(Pot(500e3, Taper("audio", 0.13)))
    fixed = {part: n for part, n in counts.items() if not isinstance(part, Gang)}
    assert fixed == {
        Resistor(100e3): 10, Resistor(150e3): 4, Resistor(330e3): 1,
        Capacitor(470e-12): 3, Capacitor(1e-9): 12,
    }  # fmt: skip
    gangs = {part: n for part, n in counts.items() if isinstance(part, Gang)}
    assert {(gang.ohms, gang.taper.kind, gang.at_ten) for gang in gangs} == {
        (250e3, "linear", "zero"), (250e3, "linear", "full"),
    }  # fmt: skip
    assert set(gangs.values()) == {1}
    assert not [p for p in read_stock(drawer).counts(Pot(250e3)) if isinstance(p, Gang)]


@pytest.mark.slow
def test_search_takes_what_there_is(drawer: Path) -> None:
    found = json.loads(in_process("tailor", "--stock", str(drawer), "--json"))
    there = {100e3, 150e3, 330e3, 470e-12, 1e-9, 250e3}
    for design in found["best"]:
        for part in leaves(parse_expression(design["expression"])):
            value = part.farads if isinstance(part, Capacitor) else part.ohms
            assert value in there
    assert found["series"] is None
    # Of one topology, against trying all that the drawer allows.
    asked = ("--topology", "1k + 1n", "--top", "6")
    found = json.loads(in_process("tailor", "--stock", str(drawer), *asked, "--json"))
    ear = ear_of(find_rig("humbucker-500k"))
    scores = {}
    for ohms, farads in product((100e3, 150e3, 330e3), (470e-12, 1e-9)):
        its = merit(ear, Series((Resistor(ohms), Capacitor(farads))))
        if not its.spoilt:
            points = score(its.taper_phon, its.tone_db, ear.conditions.tone_weight)
            scores[ohms, farads] = float(points)
    equal = [value for value in scores.values() if value < min(scores.values()) + EQUAL_DB]
    assert found["designs_searched"] == 6 and found["equally_good"] == len(equal)
    told = [one["situations"]["humbucker-500k"]["score_db"] for one in found["best"]]
    assert min(told) == pytest.approx(min(equal), abs=1e-3)


@pytest.mark.thorough
def test_two_pots_need_twice_as_many(drawer: Path) -> None:
    """A single 330k is no bypass for two volumes; nor are two equal parts of one piece."""
    asked = ("--stock", str(drawer), "--topology", "1k", "--top", "9", "--json")
    one = json.loads(in_process("tailor", *asked))
    two = json.loads(in_process("tailor", "--rig", "two-pickups", *asked))
    assert (one["designs_searched"], two["designs_searched"]) == (3, 2)
    twice = ("--stock", str(drawer), "--topology", "1k + (1k || 1n)", "--top", "100", "--json")
    for design in json.loads(in_process("tailor", *twice))["best"]:
        assert design["expression"].count("330k") < 2


@pytest.mark.slow
def test_a_dual_pot_at_hand_is_no_special_order(drawer: Path) -> None:
    asked = ("--topology", "gang(1k) || 1n", "--top", "3", "--json")
    there = json.loads(in_process("tailor", "--stock", str(drawer), *asked))
    assert there["best"] and not any(design["special_order"] for design in there["best"])
    elsewhere = json.loads(in_process("tailor", "--gangs", "250k", *asked))
    assert all(design["special_order"] for design in elsewhere["best"])


@pytest.mark.thorough
def test_equals_have_the_commonest_values_first() -> None:
    asked = ("--topology", "series", "--series", "E24", "--top", "30", "--json")
    found = json.loads(in_process("tailor", *asked))
    scores = [design["situations"]["humbucker-500k"]["score_db"] for design in found["best"]]
    assert len(scores) == 30 < found["equally_good"]
    assert max(scores) < min(scores) + EQUAL_DB
    e6, e12 = ({f"{v:g}" for v in ps_values(series)} for series in ("E6", "E12"))
    ranks = []
    for design in found["best"]:
        total = 0
        for part in leaves(parse_expression(design["expression"])):
            value = part.farads if isinstance(part, Capacitor) else part.ohms
            mantissa = f"{float(f'{value:.6e}'.split('e')[0]):g}"
            total += 0 if mantissa in e6 else 1 if mantissa in e12 else 2
        ranks.append(total)
    assert ranks == sorted(ranks) and ranks[0] == 0
    alike = [score for score, rank in zip(scores, ranks, strict=True) if rank == 0]
    assert alike == sorted(alike)


def ps_values(series: str) -> list[float]:
    """IEC 60063, by hand."""
    e6 = [1.0, 1.5, 2.2, 3.3, 4.7, 6.8]
    return e6 if series == "E6" else [*e6, 1.2, 1.8, 2.7, 3.9, 5.6, 8.2]


def test_order_over_jobs(drawer: Path) -> None:
    """Two guitars, one of them with two volumes: 1 + 2 of the capacitor, of which 3 are there."""
    jobs = ("--job", "humbucker-500k=330k + 470p", "--job", "two-pickups=330k || 470p")
    text = in_process("order", *jobs, "--stock", str(drawer))
    lines = {
        row[3]: row
        for row in (line.split(maxsplit=5) for line in text.splitlines()[3:])
        if len(row) > 4
    }
    found = json.loads(in_process("order", *jobs, "--stock", str(drawer), "--json"))
    by_what = {line["what"]: line for line in found["orders"]}
    resistor, capacitor = by_what["resistor 330 kΩ"], by_what["capacitor 470 pF"]
    assert (resistor["quantity"], resistor["in_stock"], resistor["to_buy"]) == (3, 1, 2)
    assert (capacitor["quantity"], capacitor["in_stock"], capacitor["to_buy"]) == (3, 3, 0)
    assert found["missing_cost"] == pytest.approx(0.10)
    # Of ten in the drawer one is taken.
    one = ("--job", "humbucker-500k=100k || 470p", "--stock", str(drawer), "--json")
    resistor = json.loads(in_process("order", *one))["orders"][0]
    assert (resistor["in_stock"], resistor["to_buy"]) == (1, 0)
    assert "To buy: 0.10 in all" in text and lines
    bought = ("--job", "humbucker-500k=220k + 330p", "--job", "humbucker-500k=330k || 220p")
    again = ("--job", "humbucker-500k=330k + 470p")
    told = in_process("order", *bought, *again, "--stock", str(drawer))
    assert "To buy: 0.05 in all, 3 lines without a price apart." in told
    nothing = in_process("order", "--job", "humbucker-500k=22k || 220p", "--stock", str(drawer))
    assert "to buy" in nothing and "To buy" not in nothing
    assert "To buy" not in in_process("order", *jobs)
    plain = json.loads(in_process("order", *jobs, "--json"))
    assert {line["in_stock"] for line in plain["orders"]} == {None}


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "the first row must be type,value,count"),
        ("value,count\n1k,2\n", "the first row must be"),
        ("type,value,count,colour\n", "the first row must be"),
        ("type,value,count\n", "holds no parts"),
        ("type,value,count\nresistor,1k,0\n", "holds no parts"),
        ("type,value,count\nresistor,1k\n", "line 2: 'resistor,1k' is not type,value,count"),
        ("type,value,count\nresistor,1k,-1\n", "line 2: count = '-1' must be a whole number"),
        ("type,value,count\nresistor,1k,9999999999\n", "count = 9999999999 must lie between"),
        ("type,value,count\nvalve,1k,1\n", "type = 'valve' must be one of resistor"),
        ("type,value,count\ncapacitor,220,1\n", "line 2: "),
        ("type,value,count\ndual-pot,A500K,1\n", "must be two markings"),
        ("type,value,count\ndual-pot,500k/250k,1\n", "does not say its taper"),
        ("type,value,count,price\nresistor,1k,1,cheap\n", "price = 'cheap' must be a number"),
        ("type,value,count,price\nresistor,1k,1,-2\n", "price = -2 must be 0 or more"),
        ("type,value,count,price\nresistor,1k,1,nan\n", "price = nan must be 0 or more"),
    ],
)
def test_drawers_that_cannot_be_read(tmp_path: Path, text: str, says: str) -> None:
    file = tmp_path / "drawer.csv"
    file.write_text(text)
    with pytest.raises(InputError) as caught:
        read_stock(file)
    assert says in str(caught.value)
    assert str(caught.value).startswith(str(file))


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("order",), "no --job is given"),
        (("order", "--job", "cap"), "--job 'cap' must be RIG=DESIGN"),
        (("order", "--job", "humbucker-500k=bare"), "has nothing to solder"),
        (("order", "--job", "none-such=cap"), "--job: rig 'none-such'"),
    ],
)
def test_orders_that_make_no_sense(arguments: tuple[str, ...], says: str) -> None:
    done = presolder_here(*arguments)
    assert done.returncode == 2 and says in done.stderr and done.stdout == ""


def test_too_few_parts(tmp_path: Path) -> None:
    file = tmp_path / "drawer.csv"
    file.write_text("type,value,count\nresistor,100k,1\n")
    done = presolder_here("tailor", "--stock", str(file), "--topology", "cap")
    assert done.returncode == 2 and "there are no parts of a kind" in done.stderr
    done = presolder_here("tailor", "--stock", str(file), "--topology", "1k + 1k")
    assert done.returncode == 2 and "not enough parts" in done.stderr
    assert isinstance(ps.stock(file), ps.Stock)
