"""Redraw docs/guitars.md and docs/designs.md: what is built in, as the tool draws it."""

from pathlib import Path

from presolder.models.instrument.built_in import BUILT_IN
from presolder.models.instrument.network import format_network
from presolder.render.files.rig_file import built_in_rigs, find_situations
from presolder.render.plots import guitar_svg, wiring_svg

DOCS = Path(__file__).parents[1]
GUITARS = """# The built-in rigs

As `presolder` draws them on the sheet, by `python docs/programs/make_drawings.py`: from the coils, whose dots are the ends that are in phase, to the input. The parts go between the two stars (*), the input lug and the wiper lug. `presolder rigs NAME --toml` prints a file to begin with. Values are typical ones from memory or invented; none is a product.
"""
DESIGNS = """# The built-in designs

As the sheet draws them, by `python docs/programs/make_drawings.py`, from behind the pot, where its lugs are soldered; values are those for a pot of 500k. `presolder sheet --design NAME` has the parts, the order of soldering and the ohmmeter readings for your guitar, and cautions that belong to them; [](design-format.md) says how designs are written down.
"""

_TIMES = {2.0: "twice"}
Drawn = tuple[str, dict[str, str]]


def guitars() -> Drawn:
    """The page of the rigs and its pictures, by file name."""
    text, pictures = [GUITARS], {}
    for name in built_in_rigs():
        text.append(f"\n## {name}\n")
        for number, one in enumerate(find_situations(name), start=1):
            file = f"guitar-{name}-{number}.svg"
            pictures[file] = guitar_svg(one.rig) + "\n"
            said = _capital(one.name) or one.rig.title
            counts = (
                f" (counted {_TIMES.get(one.weight, f'{one.weight:g} times')})"
                if one.weight != 1
                else ""
            )
            text.append(f"{said}{counts}:\n\n![{name}, {said}](pictures/{file})\n")
    return "\n".join(text), pictures


def designs() -> Drawn:
    """The page of the designs, likewise."""
    text, pictures = [DESIGNS], {}
    for design in BUILT_IN:
        file = f"design-{design.name}.svg"
        pictures[file] = wiring_svg(design.network) + "\n"
        parts = f"\n\n`{format_network(design.network)}`" if design.network is not None else ""
        text.append(f"\n## {design.name}\n\n{_capital(design.title)}.{parts}\n")
        text.append(f"![The volume pot with {design.name}](pictures/{file})\n")
    return "\n".join(text), pictures


def _capital(text: str) -> str:
    """As a sentence begins; the rest as it is."""
    return text[:1].upper() + text[1:]


PAGES = {"guitar": guitars, "design": designs}


def main() -> None:
    """Write both pages."""
    for kind, page in PAGES.items():
        text, pictures = page()
        for old in (DOCS / "pictures").glob(f"{kind}-*.svg"):
            old.unlink()
        for file, svg in pictures.items():
            (DOCS / "pictures" / file).write_text(svg, encoding="utf-8")
        (DOCS / f"{kind}s.md").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
