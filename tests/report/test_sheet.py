"""The parts and wiring sheet: that its words build the circuit, and that it prints on one page."""

import json
import re
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import sync_playwright

from presolder.models.circuit.chain import OUTPUT, PICKUP_SIDE, Branch, Rheostat, control_chain
from presolder.models.circuit.equations import assemble, chain_equations
from presolder.models.circuit.response import transfer
from presolder.models.decibels import decibels
from presolder.models.errors import InputError
from presolder.models.instrument.designs import BUILT_IN
from presolder.models.instrument.expression import parse_expression
from presolder.models.instrument.network import CONTACT_OHMS, Capacitor, Gang, Network, Resistor
from presolder.models.instrument.placement import nearest_preferred, placed_parts, series_of
from presolder.models.instrument.rig import Rig
from presolder.render.files.rigs import built_in_rigs, find_rig
from rigs import with_other
from running import in_process

HZ = np.geomspace(50, 12_000, 25)
DIALS = np.array([1.0, 5.0, 9.0])
NETWORKS = [
    *(design.network for design in BUILT_IN[1:]),
    parse_expression("gang(500k, audio, full) + (820k || (330p + 1k) || 22p)"),
    parse_expression("(1k + 2n) || (3k + 4n) || (5k + 6n)"),
]


def built_from_the_words(rig: Rig, network: Network) -> tuple[Branch, ...]:
    """The chain with its bypass soldered as the sheet says, part by part."""
    bare = control_chain(rig, None).branches
    free = 1 + max(max(branch.plus, branch.minus) for branch in bare)
    nodes = {"input lug": PICKUP_SIDE, "wiper lug": OUTPUT}
    soldered = []
    for part in placed_parts(network):
        for place in (part.start, part.end):
            if place not in nodes:
                nodes[place] = free
                free += 1
        ends = nodes[part.start], nodes[part.end]
        match part.leaf:
            case Resistor(ohms):
                soldered.append(Branch("resistor", *ends, ohms))
            case Capacitor(farads):
                soldered.append(Branch("capacitor", *ends, farads))
            case Gang(ohms, taper, at_ten):
                law = Rheostat(ohms, taper, at_ten == "zero", CONTACT_OHMS)
                soldered.append(Branch("rheostat", *ends, rheostat=law))
    return (*bare, *soldered)


@pytest.mark.parametrize("network", NETWORKS, ids=lambda n: str(len(placed_parts(n))))
def test_soldering_as_told_gives_the_circuit(network: Network) -> None:
    rig = find_rig("humbucker-500k")
    told = transfer(assemble(built_from_the_words(rig, network)), HZ, DIALS)
    assert np.abs(decibels(told / transfer(chain_equations(rig, network), HZ, DIALS))).max() < 1e-9


@pytest.mark.parametrize("rig_name", list(built_in_rigs()))
@pytest.mark.parametrize("design", ["series-parallel", "gang-series"])
def test_steps_and_lugs_agree(rig_name: str, design: str) -> None:
    """Every end of every part is in the steps and at its lug, and leads stay where they were."""
    sheet = json.loads(in_process("sheet", "--rig", rig_name, "--design", design, "--json"))
    for part in sheet["parts"]:
        for place in (part["from"], part["to"]):
            assert part["name"] in sheet["lugs"][place]
        own = [step for step in sheet["steps"] if part["name"] in step]
        assert any(part["from"] in step and part["to"] in step for step in own)
    pickup = "wiper lug" if "independent" in rig_name else "input lug"
    output = "input lug" if "independent" in rig_name else "wiper lug"
    assert "pickup's hot lead" in sheet["lugs"][pickup]
    onward = "switch" if "two-pickups" in rig_name else "output jack"
    assert onward in sheet["lugs"][output]
    copies = 2 if "two-pickups" in rig_name else 1
    assert {order["quantity"] for order in sheet["orders"]} == {copies}
    assert sheet["multi_gang"] == (design == "gang-series")


def test_gang_lugs_against_the_model() -> None:
    """zero at ten: wiper to the clockwise lug, which the wiper reaches at 10; full: the other."""
    for at_ten, lug, unused in (
        ("zero", "clockwise", "counter-clockwise"),
        ("full", "counter-clockwise", "clockwise"),
    ):
        expression = f"gang(250k, linear, {at_ten}) + 1n"
        text = in_process("sheet", "--design", expression)
        assert f"bridge the {unused} lug to the wiper lug; its ends are the {lug} lug" in text
        gang = parse_expression(f"gang(250k, linear, {at_ten})")
        assert isinstance(gang, Gang)
        # Wiper to clockwise lug is what is left above the wiper: nothing at 10.
        left = Rheostat(gang.ohms, gang.taper, at_ten == "zero").share(np.array([10.0]))[0]
        assert left == (0.0 if lug == "clockwise" else 1.0)


def test_shopping_list() -> None:
    sheet = json.loads(in_process("sheet", "--design", "470p || (1k1 + 470p) || 4k99", "--json"))
    lines = {order["what"]: order for order in sheet["orders"]}
    assert lines["capacitor 470 pF"]["quantity"] == 2
    assert lines["capacitor 470 pF"]["series"] == "E6"
    assert lines["resistor 1.1 kΩ"]["series"] == "E24"
    assert lines["resistor 4.99 kΩ"]["series"] == "E96"
    assert lines["resistor 4.99 kΩ"]["tolerance"] == "1 %"
    text = in_process("sheet", "--design", "123k45")
    assert "not a preferred value, the nearest of E24 is 120 kΩ" in text


def test_series_of() -> None:
    """IEC 60063: 1.5 is in E6, 1.8 in E12, 1.6 in E24, 1.05 in E48, 1.02 in E96."""
    values = {1.5e3: "E6", 180e-12: "E12", 1.6e5: "E24", 1.05e4: "E48", 10.2: "E96", 1234.0: None}
    assert {value: series_of(value) for value in values} == values
    assert nearest_preferred(9.6e3) == pytest.approx(1e4)


def test_text_has_every_caution() -> None:
    text = in_process("sheet")
    for word in (
        "Unplug", "iron burns", "fumes", "eye protection", "Heat damages pots",
        "Never open a mains-powered amplifier", "qualified technician", "local rules",
    ):  # fmt: skip
        assert word in text
    assert "No multi-gang part is needed" in text
    dual = in_process("sheet", "--design", "gang-series")
    assert "dual-gang" in dual and "special order" not in dual
    assert "a special order" in in_process("sheet", "--design", "gang(1M, linear, zero) + 390p")


def test_nothing_is_ordered_where_nothing_helps() -> None:
    text = in_process("sheet", "--rig", "low-impedance-fuzz")
    assert "Nothing to solder: the bare pot stays as it is." in text
    assert "To order: nothing" in text
    assert "Take care" not in text
    assert "No multi-gang part is needed" in in_process("sheet", "--design", "cap")
    assert "Nothing to solder" in in_process("sheet", "--design", "bare")


def test_every_sheet_prints_on_one_page(tmp_path: Path) -> None:
    long = "gang(500k, audio, full) + (820k || (330p + 1k) || 22p)"
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path="/usr/bin/chromium", args=["--no-sandbox"]
        )
        page = browser.new_page()
        for design in (*(d.name for d in BUILT_IN[1::3]), long):
            out = tmp_path / "sheet.html"
            options = ("--rig", "two-pickups-independent", "--design", design, "--force")
            in_process("sheet", *options, "--workshop", "<b>Bench</b>", "--out", str(out))
            page.goto(out.as_uri())
            assert page.locator("svg[role=img]").count() == 1
            assert "<b>Bench</b>" in page.inner_text("main")
            pdf = page.pdf(prefer_css_page_size=True)
            assert len(re.findall(rb"/Type\s*/Page\b", pdf)) == 1, design
        browser.close()


def test_second_pickup_with_its_own_bypass_is_not_counted() -> None:
    rig = find_rig("two-pickups")
    assert len(rig.channels) == 2
    from presolder.render.report.soldering import orders

    own = with_other(rig, bypass=None)
    assert [order.quantity for order in orders(own, parse_expression("150p"))] == [1]


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (("--design", "oops"), "design 'oops' is not built in"),
        (("--out", "sheet.pdf"), "--out 'sheet.pdf' must end in .html"),
        (("--workshop", "x" * 300), "--workshop has 300 characters; at most 200"),
    ],
)
def test_nonsense(options: tuple[str, ...], says: str) -> None:
    with pytest.raises(InputError) as caught:
        in_process("sheet", *options)
    assert says in str(caught.value)
