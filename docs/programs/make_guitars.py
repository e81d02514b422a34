"""Redraw docs/guitars.md: each built-in rig in its situations, as the tool draws it."""

from pathlib import Path

from presolder.render.files.rigs import built_in_rigs, find_situations
from presolder.render.plots import guitar_svg

DOCS = Path(__file__).parents[1]
HEAD = """# The built-in rigs

As `presolder` draws them on the sheet, by `python docs/programs/make_guitars.py`: from the coils, whose dots are the ends that are in phase, to the input. Where two stars stand the design under audition goes, between input lug and wiper lug. `presolder rigs NAME --toml` prints a file to begin with. Values are typical ones from memory or invented; none is a product.
"""


def page() -> tuple[str, dict[str, str]]:
    """The page and its pictures, by file name."""
    text, pictures = [HEAD], {}
    for name in built_in_rigs():
        text.append(f"\n## {name}\n")
        for number, one in enumerate(find_situations(name), start=1):
            file = f"guitar-{name}-{number}.svg"
            pictures[file] = guitar_svg(one.rig) + "\n"
            said = f"{one.name[:1].upper()}{one.name[1:]}" if one.name else one.rig.title
            counts = f", counts {one.weight:g}" if one.weight != 1 else ""
            text.append(f"{said}{counts}:\n\n![{name}, {said}](pictures/{file})\n")
    return "\n".join(text), pictures


def main() -> None:
    """Write both."""
    text, pictures = page()
    for old in (DOCS / "pictures").glob("guitar-*.svg"):
        old.unlink()
    for file, svg in pictures.items():
        (DOCS / "pictures" / file).write_text(svg, encoding="utf-8")
    (DOCS / "guitars.md").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
