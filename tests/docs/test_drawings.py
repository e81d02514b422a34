"""The pages of what is built in, and how guitars are drawn."""

import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from playwright.sync_api import Browser

from browsers import only_chromium
from presolder.models.instrument.controls import Pickup
from presolder.models.instrument.quantities import format_quantity
from presolder.models.instrument.rig import Rig
from presolder.models.instrument.source import (
    CoilsInParallel,
    CoilsInSeries,
    Piezo,
    Wound,
    coils_of,
)
from presolder.render.files.rig_file import built_in_rigs, find_situations
from presolder.render.plots import guitar_svg, wiring_svg
from random_circuits import random_network, random_wiring
from running import program_at
from takes import DOCS, PROGRAMS

# Points by which each text of a drawing ends within its edges; the least of the four.
WITHIN = """(svg) => {
  document.body.innerHTML = svg;
  const paper = document.querySelector("svg").getBoundingClientRect();
  return [...document.querySelectorAll("svg text")].map((text) => {
    const b = text.getBoundingClientRect();
    return Math.min(b.left - paper.left, paper.right - b.right, b.top - paper.top, paper.bottom - b.bottom);
  });
}"""


def words(rig: Rig) -> list[str]:
    """Every word of a drawing."""
    tree = ET.fromstring(guitar_svg(rig))
    # A text of several lines has an element a line.
    return " ".join(one.text for one in tree.iter() if one.text and len(one) == 0).split()


def parts_named(rig: Rig) -> list[str]:
    """What must stand there, from the description."""
    named = []
    for channel in rig.channels:
        named.append(format_quantity(channel.volume.resistance_ohms, "ohm"))
        for coil in coils_of(channel.pickup):
            assert isinstance(coil.pickup, Pickup | Piezo)
            if isinstance(coil.pickup, Pickup):
                named.append(format_quantity(coil.pickup.resistance_ohms, "ohm"))
            else:
                named.append(format_quantity(coil.pickup.capacitance_farads, "farad"))
        if channel.tone is not None:
            named.append(format_quantity(channel.tone.capacitance_farads, "farad"))
    for volume in rig.volumes[len(rig.channels) :]:
        named.append(format_quantity(volume.volume.resistance_ohms, "ohm"))
    if rig.tone is not None:
        named.append(format_quantity(rig.tone.capacitance_farads, "farad"))
    if rig.cable_farads:
        named.append(format_quantity(rig.cable_farads, "farad"))
    return named


@pytest.mark.parametrize("kind", ["guitar", "design"])
def test_page_is_up_to_date(kind: str) -> None:
    text, pictures = program_at(PROGRAMS / "make_drawings.py").PAGES[kind]()
    again = "run python docs/programs/make_drawings.py"
    assert (DOCS / f"{kind}s.md").read_text("utf-8") == text, again
    drawn = {file.name for file in (DOCS / "pictures").glob(f"{kind}-*.svg")}
    assert drawn == set(pictures), again
    for name, svg in pictures.items():
        assert (DOCS / "pictures" / name).read_text("utf-8") == svg, again


@pytest.mark.parametrize("name", list(built_in_rigs()))
def test_every_part_is_in_the_drawing(name: str) -> None:
    for one in find_situations(name):
        there = words(one.rig)
        for part in parts_named(one.rig):
            assert part in " ".join(there)
        # Where the design goes: two stars for each volume that gets it.
        stars = 2 * sum(volume.auditioned for volume in one.rig.volumes)
        assert there.count("*") == stars


@pytest.mark.parametrize("index", range(9))
def test_any_wiring_can_be_drawn(index: int) -> None:
    rig = random_wiring(np.random.default_rng(index), index)
    there = words(rig)
    for part in parts_named(rig):
        assert part in " ".join(there)


def free_ends(rig: Rig) -> list[complex]:
    """Ends of straight leads that touch nothing else."""
    paths = [
        [
            complex(*map(float, point.split(",")))
            for point in re.findall(r"-?[\d.e-]+,-?[\d.e-]+", d)
        ]
        for d in re.findall(r'<path d="([^"]*)"', guitar_svg(rig))
    ]

    def touches(end: complex, path: list[complex]) -> bool:
        """On any of its straight pieces: so much further is it by way of the point."""
        pieces = pairwise(path)
        return any(abs(end - a) + abs(end - b) - abs(a - b) < 0.01 for a, b in pieces)

    leads = [path for path in paths if len(path) == 3]
    ends = [(lead, end) for lead in leads for end in (lead[0], lead[-1])]
    return [
        end
        for lead, end in ends
        if not any(touches(end, other) for other in paths if other is not lead)
    ]


@pytest.mark.slow
def test_leads_end_at_something(humbucker: Rig) -> None:
    """But for the one that leaves at the right, and at a tone control without a load at 10."""
    coil = Wound(humbucker.coil)
    pair, three = CoilsInSeries((coil, coil)), CoilsInSeries((coil, coil, coil))
    for source in (CoilsInParallel((coil, pair)), CoilsInParallel((three, coil, pair))):
        rig = humbucker.with_first(replace(humbucker.first, pickup=source))
        assert len(free_ends(rig)) == 1
    for index in range(6):
        rig = random_wiring(np.random.default_rng(index), index)
        tones = [rig.tone, *(channel.tone for channel in rig.channels)]
        loose = sum(tone is not None and not tone.connected for tone in tones)
        assert len(free_ends(rig)) == 1 + loose, index


def test_a_coil_out_of_phase_has_its_dot_at_the_other_end(humbucker: Rig) -> None:
    """Further down, but not as far as the next coil's would be."""

    def dots(share: float) -> tuple[list[float], list[float]]:
        coils = CoilsInSeries((Wound(humbucker.coil), Wound(humbucker.coil, share)))
        rig = humbucker.with_first(replace(humbucker.first, pickup=coils))
        tree = ET.fromstring(guitar_svg(rig))
        circles = [one for one in tree.iter() if one.tag.endswith("circle")]
        # Joints are smaller.
        largest = max(float(one.get("r", "0")) for one in circles)
        found = [one for one in circles if float(one.get("r", "0")) == largest]
        across, down = ([float(one.get(key, "0")) for one in found] for key in ("cx", "cy"))
        return across, down

    (across, heights), (also, turned) = dots(1.0), dots(-1.0)
    assert len(heights) == 2 and across == also
    coil = heights[1] - heights[0]
    assert turned[0] == heights[0] and heights[1] < turned[1] < heights[1] + coil
    assert 0.3 * coil < turned[1] - heights[1] < coil


@only_chromium
@pytest.mark.slow
def test_no_text_is_cut_at_the_edge(browser: Browser) -> None:
    """In a browser with its own fonts, to half a point; charts' files have no text elements."""
    drawings = {file.name: file.read_text("utf-8") for file in (DOCS / "pictures").glob("*.svg")}
    for index in range(8):
        random = np.random.default_rng(index)
        drawings[f"guitar {index}"] = guitar_svg(random_wiring(random, index))
        drawings[f"design {index}"] = wiring_svg(random_network(random, index))
    page = browser.new_page()
    within = {name: page.evaluate(WITHIN, svg) for name, svg in drawings.items()}
    page.close()
    assert sum(len(found) > 0 for found in within.values()) > 0.9 * len(drawings)
    cut = {name: min(found) for name, found in within.items() if min(found, default=0) < -0.5}
    assert cut == {}
