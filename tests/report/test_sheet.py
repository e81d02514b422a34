"""The parts and wiring sheet: that its words build the circuit, and that it prints on one page."""

import json
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser

import presolder as ps
from browsers import only_chromium
from ears import sheet_of
from presolder.models.circuit.assembly import assemble
from presolder.models.circuit.branch import OUTPUT, Branch, Rheostat
from presolder.models.circuit.chain import PICKUP_SIDE, control_chain
from presolder.models.circuit.equations import chain_equations
from presolder.models.circuit.response import transfer
from presolder.models.decibels import decibels
from presolder.models.errors import InputError
from presolder.models.instrument.built_in import BUILT_IN
from presolder.models.instrument.expression import parse_expression
from presolder.models.instrument.law import Taper
from presolder.models.instrument.network import (
    CONTACT_OHMS,
    Capacitor,
    Design,
    Gang,
    Network,
    Parallel,
    Resistor,
    Series,
    join,
)
from presolder.models.instrument.placement import series_of
from presolder.models.instrument.preferred import nearest_preferred, preferred_values
from presolder.models.instrument.rig import Rig
from presolder.render.files.rig_file import built_in_rigs, find_rig, find_situations
from rigs import with_other
from running import in_process

HZ = np.geomspace(50, 12_000, 25)
DIALS = np.arange(0.5, 10.01, 0.5)
OHM = r"([\d.]+) ([kM]?)Ω"
TIMES = {"": 1.0, "k": 1e3, "M": 1e6, "p": 1e-12, "n": 1e-9, "µ": 1e-6}


def value_of(text: str) -> tuple[str, float]:
    """What a value in words is: a resistance or a capacitance."""
    match = re.fullmatch(r"([\d.]+) ([kMpnµ]?)([ΩF])", text)
    assert match is not None, text
    number, prefix, unit = match.groups()
    return unit, float(number) * TIMES[prefix]


def told_by(design: str, rig: str = "humbucker-500k") -> str:
    """What a sheet says of the work."""
    return "\n".join(sheet_of(find_rig(rig), design).lines())


class Bench:
    """A circuit in the making: places are nodes, and what is bridged becomes one."""

    def __init__(self, rig: Rig) -> None:
        self.branches = list(control_chain(rig, None).branches)
        self.nodes = {"input lug": PICKUP_SIDE, "wiper lug": OUTPUT}
        self.free = 1 + max(max(b.plus, b.minus) for b in self.branches)

    def node(self, place: str) -> int:
        place = place.removeprefix("the ")
        if place not in self.nodes:
            self.nodes[place], self.free = self.free, self.free + 1
        return self.nodes[place]

    def join(self, one: str, other: str) -> None:
        """A wire; sections' lugs are named before they are wired."""
        keep, gone = sorted((self.node(one), self.node(other)))
        self.nodes = {place: keep if n == gone else n for place, n in self.nodes.items()}
        self.branches = [
            replace(b, plus=keep if b.plus == gone else b.plus,
                    minus=keep if b.minus == gone else b.minus)
            for b in self.branches
        ]  # fmt: skip

    def part(self, value: str, start: str, end: str) -> None:
        unit, size = value_of(value)
        kind = "resistor" if unit == "Ω" else "capacitor"
        self.branches.append(Branch(kind, self.node(start), self.node(end), size))  # type: ignore[arg-type]

    def section(self, number: str, value: str, law: str, middle: str | None) -> None:
        """A pot of three lugs: the wiper runs from the counter-clockwise lug to the other."""
        taper = Taper(law, float(middle) if middle else 0.15)  # type: ignore[arg-type]
        ohms = value_of(value)[1]
        places = [
            f"section {number} {lug} lug" for lug in ("clockwise", "wiper", "counter-clockwise")
        ]
        ends = [self.node(place) for place in places]
        for pair, falling in ((ends[:2], True), (ends[1:], False)):
            law_ = Rheostat(ohms, taper, falling, CONTACT_OHMS)
            self.branches.append(Branch("rheostat", *pair, rheostat=law_))

    def closed(self) -> tuple[Branch, ...]:
        """The circuit, nodes numbered without gaps, parts with both ends at one place left out."""
        real = [b for b in self.branches if b.plus != b.minus]
        used = sorted({0, 1, 2} | {end for b in real for end in (b.plus, b.minus)})
        number = {node: i for i, node in enumerate(used)}
        return tuple(replace(b, plus=number[b.plus], minus=number[b.minus]) for b in real)


def built_from_the_steps(rig: Rig, text: str) -> tuple[Branch, ...]:
    """Soldered as the printed steps say, in their order, by nothing but their words."""
    bench = Bench(rig)
    text = text.split("To do at the")[1].split("Lug by lug", maxsplit=1)[0]
    steps = re.findall(r"\[ \] \d+\. (.*)", text)
    done = 0
    for step in steps:
        if found := re.fullmatch(r"Solder \w\d+, (\S+ \S+), from (.+) to (.+)\.", step):
            bench.part(*found.groups())
        elif found := re.fullmatch(
            r"G\d+ is section (\d), (\S+ \S+) ([a-z-]+)(?:, ([\d.]+) at half)?\. Bridge its (.+) to its"
            r" (.+)\.", step
        ):  # fmt: skip
            number, value, law, middle, one, other = found.groups()
            bench.section(number, value, law, middle)
            bench.join(f"section {number} {one}", f"section {number} {other}")
        elif found := re.fullmatch(
            r"Wire G\d+ with two short insulated wires: (section \d)'s (.+) to (.+), and (section"
            r" \d)'s (wiper lug) to (.+)\.", step
        ):  # fmt: skip
            first, lug, start, second, wiper, end = found.groups()
            bench.join(f"{first} {lug}", start)
            bench.join(f"{second} {wiper}", end)
        else:
            done -= 1
        done += 1
    assert done >= 1
    return bench.closed()


def built_from_the_table(rig: Rig, text: str) -> tuple[Branch, ...]:
    """Soldered as the table says, lug by lug: what is named at two places has its ends there."""
    bench = Bench(rig)
    table = text.split("Lug by lug")[1].split("Take care", maxsplit=1)[0]
    rows = re.findall(r"^  (\S.*?): (.*)$", table, re.MULTILINE)
    ends: dict[tuple[str, str], list[str]] = {}
    wires = []
    for place, what in rows:
        if found := re.fullmatch(
            r"(G\d+) \(section (\d)\), (\S+ \S+) ([a-z-]+)(?:, ([\d.]+) at half)?", place
        ):
            _, number, value, law, middle = found.groups()
            bench.section(number, value, law, middle)
            told = re.fullmatch(
                r"(.+) wired to (.+); (wiper lug) wired to (.+) and bridged to the (.+)", what
            )
            assert told is not None
            used, start, wiper, end, unused = told.groups()
            wires += [(number, used, start), (number, wiper, end)]
            bench.join(f"section {number} {wiper}", f"section {number} {unused}")
            continue
        for piece in what.split("; "):
            if found := re.fullmatch(r"(\w\d+) \((\S+ \S+)\)", piece):
                ends.setdefault(found.groups(), []).append(place)  # type: ignore[arg-type]
            elif found := re.fullmatch(r"wire to (G\d+)'s (.+)", piece):
                # Said at both ends: here by the gang's name, there by the lug's.
                row = next(what for at, what in rows if at.startswith(f"{found[1]} "))
                assert f"{found[2]} wired to {'' if place[:5] == 'joint' else 'the '}{place}" in row
    for number, lug, place in wires:
        bench.join(f"section {number} {lug}", place)
    for (_, value), (start, end) in ends.items():
        bench.part(value, start, end)
    return bench.closed()


def random_design(seed: int) -> Network:
    """Values as they are sold, up to three gangs of any law."""
    random = np.random.default_rng(seed)
    gangs = seed % 4

    def leaf(kind: str) -> Network:
        series = preferred_values("E24", 1.0, 9.99)
        step = float(random.choice(series))
        if kind == "G":
            law = Taper(random.choice(["linear", "audio", "reverse-audio", "two-slope"]),
                        round(float(random.uniform(0.05, 0.3)), 3))  # fmt: skip
            ohms = float(random.choice([50e3, 100e3, 250e3, 500e3, 1e6]))
            return Gang(ohms, law, random.choice(["zero", "full"]))
        if kind == "R":
            return Resistor(float(f"{step * 10 ** int(random.integers(3, 6)):.3g}"))
        return Capacitor(float(f"{step * 10.0 ** int(random.integers(-11, -9)):.3g}"))

    def tree(kinds: list[str]) -> Network:
        if len(kinds) == 1:
            return leaf(kinds[0])
        cut = int(random.integers(1, len(kinds)))
        kind = Series if random.random() < 0.5 else Parallel
        return join(kind, [tree(kinds[:cut]), tree(kinds[cut:])])

    kinds = ["G"] * gangs + [
        str(random.choice(["R", "C"])) for _ in range(int(random.integers(1, 4)))
    ]
    random.shuffle(kinds)
    return tree(kinds)


@pytest.mark.parametrize("built", [built_from_the_steps, built_from_the_table])
@pytest.mark.parametrize("seed", range(30))
def test_soldering_as_told_gives_the_circuit(
    seed: int, built: Callable[[Rig, str], tuple[Branch, ...]]
) -> None:
    """Thirty random designs, from the words on the sheet back to the circuit."""
    rig, network = find_rig("humbucker-500k"), random_design(seed)
    sheet = sheet_of(rig, Design("random", network))
    told = transfer(assemble(built(rig, "\n".join(sheet.lines()))), HZ, DIALS)
    assert np.abs(decibels(told / transfer(chain_equations(rig, network), HZ, DIALS))).max() < 1e-9


@pytest.mark.parametrize("rig_name", list(built_in_rigs()))
@pytest.mark.parametrize("design", ["series-parallel", "gang-series"])
def test_steps_and_lugs_agree(rig_name: str, design: str) -> None:
    """Every end of every part is in the steps and at its lug, and leads stay where they were."""
    rig = find_rig(rig_name)
    sheet = sheet_of(rig, design).plain()
    copies = 2 if "two-pickups" in rig_name else 1
    assert len(sheet["pots"]) == copies
    for pot in sheet["pots"]:
        for part in sheet["parts"]:
            for place in (part["from"], part["to"]):
                assert part["name"] in pot["lugs"][place]
            own = [step["do"] for step in pot["steps"] if part["name"] in step["do"]]
            assert any(part["from"] in step and part["to"] in step for step in own)
        # A blend pot is wired the other way round, the master after it is not.
        turned_round = rig.volume_wiring == "independent" and rig.master is None
        pickup = "wiper lug" if turned_round else "input lug"
        output = "input lug" if turned_round else "wiper lug"
        lead = "the pickup's hot lead" if rig.master is None else "pickups' volumes"
        if rig_name in ("split-humbucker", "three-single-coils"):
            lead = "the lead from the switch"
        assert lead in pot["lugs"][pickup]
        onward = "switch" if copies == 2 else "output jack"
        onward = "buffer" if rig.buffer is not None else onward
        assert onward in pot["lugs"][output]
    assert {order["quantity"] for order in sheet["orders"]} == {copies}
    assert sheet["multi_gang"] == (design == "gang-series")


def parallel(*ohms: float) -> float:
    return 1 / sum(1 / one for one in ohms)


def test_readings_by_hand() -> None:
    """Series and parallel by hand: 8k winding, 500k track of which 15 % lie below at half."""
    text = told_by("68k + (220k || 1n5)")
    assert "Check: knob at 0, input lug to joint A 68 kΩ; without it open" in text
    # From joint A to the wiper lug at 5: 68k and then 425k beside winding and 75k; and R2 beside.
    beside = 68e3 + parallel(425e3, 8.2e3 + 75e3)
    ohms = parallel(220e3, beside)

    def with_pots(by: float, *more: float) -> str:
        off = 68e3 + parallel(by * 425e3, 8.2e3 + by * 75e3)
        return f"{float(f'{parallel(off, *more) / 1e3:.2g}'):g}"

    def told(*more: float) -> str:
        return f"{with_pots(1, *more)} kΩ ({with_pots(0.8, *more)} to {with_pots(1.2, *more)})"

    told_of = float(with_pots(1)), float(with_pots(1, 220e3))
    assert told_of == pytest.approx((beside / 1e3, ohms / 1e3), rel=0.03)
    assert f"knob at 5, joint A to wiper lug {told(220e3)}; without it {told()}" in text
    assert f"joint A to wiper lug still {told(220e3)}, not near 0 Ω" in text
    hidden = told_by("4M7 || 1n")
    assert "by itself, before: 4.7 MΩ" in hidden and "with or without it" in hidden


def test_gangs_are_told_apart() -> None:
    """Each by its section, and by what it reads at 10, 5 and 0."""
    design = "gang(250k, linear, zero) + gang(100k, linear, full) + 1n"
    text = told_by(design)
    assert "section 2, clockwise lug to wiper lug: near 0 Ω at 10, 120 kΩ at 5, 250 kΩ at 0" in text
    assert (
        "section 3, counter-clockwise lug to wiper lug: 100 kΩ at 10, 50 kΩ at 5,"
        " near 0 Ω at 0" in text
    )
    assert "Clockwise lug: the outer lug that reads near 0 Ω to the middle one at 10" in text
    assert "section 2's wiper lug to joint A" in text
    assert "from its wiper lug to the wiper lug" not in text
    bent = told_by("gang(250k, audio, zero, 0.22) + 1n")
    assert "section 2 250 kΩ audio, 0.22 at half (special order)" in bent


def lugs_of(rig: Rig) -> list[dict[str, str]]:
    return [pot["lugs"] for pot in sheet_of(rig, "cap").plain()["pots"]]


def test_the_tone_control_stays_at_the_lug_that_it_is_wired_to() -> None:
    """The master's if it is for all, the pickup's own, at input or wiper; else at no pot here."""
    (blended,) = lugs_of(find_situations("hollow-body-blend")[1].rig)
    assert "the tone control (as it is)" in blended["input lug"]
    (fifties,) = lugs_of(find_rig("dark-long-cable"))
    assert "the tone control (as it is)" in fifties["wiper lug"]
    assert "the tone control" not in fifties["input lug"]
    shared = lugs_of(find_situations("two-humbuckers-shared-tone")[0].rig)
    assert len(shared) == 1 and not any("tone" in said for said in shared[0].values())
    own = lugs_of(find_rig("two-pickups"))
    assert len(own) == 2 and all("the tone control (as it is)" in one["input lug"] for one in own)


@pytest.mark.thorough
def test_what_is_fitted_now_is_taken_out(tmp_path: Path) -> None:
    rig = tmp_path / "r.toml"
    source = built_in_rigs()["humbucker-500k"].read_text()
    rig.write_text(source + '\n[take]\ndesign = "150k || 1n"\n')
    text = in_process("sheet", "--rig", str(rig), "--design", "68k + 1n5")
    assert "Take out the bypass that is fitted now, 150k || 1n (150 kΩ, 1 nF)" in text
    assert text.index("Take out") < text.index("Solder R1")
    bare = in_process("sheet", "--rig", str(rig), "--design", "bare")
    assert "Take out the bypass that is fitted now" in bare and "To order: nothing" in bare


def test_each_pot_has_its_own_block_and_its_own_parts() -> None:
    rig = find_rig("two-pickups")
    other = replace(rig.channels[1].volume, resistance_ohms=250e3)
    both = with_other(rig, volume=other)
    sheet = sheet_of(both, "gang-series").plain()
    titles = [pot["title"] for pot in sheet["pots"]]
    assert titles[0].startswith("first pickup's volume pot, 500 kΩ")
    assert titles[1].startswith("second pickup's volume pot, 250 kΩ")
    pots = [order for order in sheet["orders"] if "gang pot" in order["what"]]
    assert [order["quantity"] for order in pots] == [1, 1]
    assert "section 1 250 kΩ" in pots[1]["what"] and "special order" in pots[1]["what"]
    assert "special order" not in pots[0]["what"] and sheet["special_order"]
    said = "Both volume controls must be dual-gang parts, each turned by one shaft."
    one_odd = " At least in one the sections differ in value or taper"
    assert said + one_odd in "\n".join(sheet_of(both, "gang-series").lines())
    text = told_by("gang-series", "two-pickups")
    assert said in text and "sections differ" not in text


def test_first_steps_and_part_types() -> None:
    text = told_by("68k + 1n5")
    for words in ("Photograph", "battery", "finish", "clip them", "start quiet", "C0G (NP0)",
                  "mica", "any voltage", "ordinary ceramic discs"):  # fmt: skip
        assert words in text
    steps = re.findall(r"\[ \] (\d+)\.", text)
    assert len(steps) >= 6
    assert "ordinary ceramic discs" not in told_by("150k")


@pytest.mark.thorough
def test_a_page_of_the_bare_pot_says_what_to_take_out(tmp_path: Path) -> None:
    """Asked for by name it is a side like any other, alone and among others."""
    rig = tmp_path / "r.toml"
    source = built_in_rigs()["humbucker-500k"].read_text()
    rig.write_text(source + '\n[take]\ndesign = "150k || 1n"\n')
    out = tmp_path / "bare.html"
    for designs in (("bare",), ("bare", "68k + 1n5")):
        options = [word for name in designs for word in ("--design", name)]
        in_process("sheet", "--rig", str(rig), *options, "--out", str(out), "--force")
        page = out.read_text("utf-8")
        assert "Nothing to solder: the bare pot stays as it is." in page
        assert "Take out the bypass that is fitted now, 150k || 1n." in page
        assert page.count('class="drawing"') == page.count('class="sheet"') == len(designs)
    assert "<svg" in ps.sheet("humbucker-500k", "bare")._repr_html_()


@pytest.mark.thorough
def test_several_designs(tmp_path: Path) -> None:
    designs = tmp_path / "d.toml"
    designs.write_text(
        '[[design]]\nname = "a"\nnetwork = "150p"\n[[design]]\nname = "b"\nnetwork = "68k + 1n"\n'
    )
    result = json.loads(in_process("sheet", "--designs", str(designs), "--json"))
    assert [sheet["design"] for sheet in result["sheets"]] == ["a", "b"]
    text = in_process("sheet", "--designs", str(designs), "--design", "180p")
    assert text.count("Take care") == 3


def test_shopping_list() -> None:
    sheet = sheet_of(find_rig("humbucker-500k"), "470p || (1k1 + 470p) || 4k99").plain()
    lines = {order["what"]: order for order in sheet["orders"]}
    assert lines["capacitor 470 pF"]["quantity"] == 2
    assert lines["capacitor 470 pF"]["series"] == "E6"
    assert lines["resistor 1.1 kΩ"]["series"] == "E24"
    assert lines["resistor 4.99 kΩ"]["series"] == "E96"
    assert lines["resistor 4.99 kΩ"]["tolerance"] == "1 %"
    text = told_by("123k45")
    assert "not a preferred value, the nearest of E24 is 120 kΩ" in text


def test_series_of() -> None:
    """IEC 60063: 1.5 is in E6, 1.8 in E12, 1.6 in E24, 1.05 in E48, 1.02 in E96."""
    values = {1.5e3: "E6", 180e-12: "E12", 1.6e5: "E24", 1.05e4: "E48", 10.2: "E96", 1234.0: None}
    assert {value: series_of(value) for value in values} == values
    assert nearest_preferred(9.6e3) == pytest.approx(1e4)


@pytest.mark.slow
def test_text_has_every_caution() -> None:
    text = in_process("sheet")
    for word in (
        "Unplug", "iron burns", "fumes", "eye protection", "Heat damages pots",
        "Never open a mains-powered amplifier", "qualified technician", "local rules",
    ):  # fmt: skip
        assert word in text
    assert "No multi-gang part is needed" in text
    dual = told_by("gang-series")
    assert "dual-gang" in dual and "special order" not in dual
    assert "a special order" in told_by("gang(1M, linear, zero) + 390p")
    three = told_by("gang(500k, audio) || (gang(500k, audio) + 390p)")
    assert "must be a triple-gang part" in three and "triple-gang pot: section 1" in three


@pytest.mark.slow
def test_nothing_is_ordered_where_nothing_helps() -> None:
    text = in_process("sheet", "--rig", "low-impedance-fuzz")
    assert "Nothing to solder: the bare pot stays as it is." in text
    assert "To order: nothing" in text
    assert "Take care" not in text
    assert "No multi-gang part is needed" in told_by("cap")
    assert "Nothing to solder" in told_by("bare")


LONG = "gang(500k, audio, full) + (820k || (330p + 1k) || 22p)"
THREE_GANGS = "(gang(500k, audio, zero) || 470p) + gang(250k, linear, full) + (gang(100k, linear, zero) || 33k)"
# At 96 dots an inch: A4 less its margins, and the least size of type that reads well in print.
PAPER_PX, LEAST_PT = (192 / 25.4 * 96, 279 / 25.4 * 96), 7.5
MEASURE = """() => {
  const sizes = [], left = [];
  const walk = document.createTreeWalker(document.querySelector('main'), NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const owner = walk.currentNode.parentElement;
    if (!walk.currentNode.textContent.trim() || owner.closest('svg')) continue;
    sizes.push(parseFloat(getComputedStyle(owner).fontSize));
  }
  for (const svg of document.querySelectorAll('svg[role=img]')) {
    const scale = svg.getBoundingClientRect().width / svg.viewBox.baseVal.width;
    for (const text of svg.querySelectorAll('text'))
      sizes.push(scale * parseFloat(getComputedStyle(text).fontSize));
  }
  for (const number of document.querySelectorAll('.number'))
    left.push([number.textContent, number.getBoundingClientRect().left,
               number.scrollWidth <= number.clientWidth]);
  return {least: Math.min(...sizes), left, height: document.querySelector('main').scrollHeight};
}"""


@only_chromium
@pytest.mark.slow
@pytest.mark.parametrize(
    "sheets",
    [
        (
            ("humbucker-500k", "150p"), ("humbucker-500k", LONG), ("humbucker-500k", THREE_GANGS),
            ("two-pickups", LONG),
        ),
        pytest.param(
            (
                *(("humbucker-500k", d.name) for d in BUILT_IN[1::6]),
                *(("two-pickups-independent", d.name) for d in BUILT_IN[2::8]),
                ("three-single-coils", "series"), ("hollow-body-blend", "series"),
                ("piezo-buffered", "cap"),
            ),
            marks=pytest.mark.thorough,
        ),
    ],
    ids=["long and short", "others"],
)  # fmt: skip
def test_every_sheet_prints_on_one_page(
    tmp_path: Path, browser: Browser, sheets: tuple[tuple[str, str], ...]
) -> None:
    """A4, neither more than a side nor half a side; type of 8 points at least; numbers whole."""
    page = browser.new_page(viewport={"width": round(PAPER_PX[0]), "height": 1000})
    page.emulate_media(media="print")
    for rig, design in sheets:
        out = tmp_path / "sheet.html"
        options = ("--rig", rig, "--design", design, "--force")
        in_process("sheet", *options, "--workshop", "<b>Bench</b>", "--out", str(out))
        page.goto(out.as_uri())
        assert page.locator(".drawing svg[role=img]").count() == 1
        assert "<b>Bench</b>" in page.inner_text("main")
        pdf = page.pdf(prefer_css_page_size=True)
        assert len(re.findall(rb"/Type\s*/Page\b", pdf)) == 1, (rig, design)
        seen = page.evaluate(MEASURE)
        assert seen["least"] * 72 / 96 >= LEAST_PT * 0.93, (rig, design, seen["least"])
        assert 0.55 < seen["height"] / PAPER_PX[1] <= 1.0, (rig, design)
        assert all(left >= 0 and whole for _, left, whole in seen["left"])
    page.close()


@only_chromium
@pytest.mark.thorough
def test_pages_of_several_designs_and_contrast(tmp_path: Path, browser: Browser) -> None:
    out = tmp_path / "both.html"
    in_process("sheet", "--design", "68k + 1n5", "--design", LONG, "--out", str(out))
    page = browser.new_page()
    page.goto(out.as_uri())
    pdf = page.pdf(prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b", pdf)) == 2
    # The page lets no script in; the checker needs to put itself there.
    text = out.read_text("utf-8").replace("default-src 'none';", "")
    page.set_content(text)
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
    page.close()


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


@pytest.mark.thorough
def test_one_design_for_all_situations() -> None:
    """What compare puts first over all of them, with what to expect in each."""
    made, alone = ps.sheet("split-humbucker"), ps.sheet(ps.situations("split-humbucker")[:1])
    assert made.design == ps.compare("split-humbucker").ranked[0].design != alone.design
    fitted = ps.sheet("three-single-coils", "cap")
    names = [one.name for one in ps.situations("three-single-coils")]
    text = str(fitted)
    for name in names:
        assert f"With these parts in {name!r}, at" in text
    assert f"readings in situation {names[0]!r}" in text
    assert [one["name"] for one in fitted.plain()["situations"]] == names
