"""What schematics share: words in them, and the SVG element that stands in a page."""

from html import escape
from typing import Literal

from schemdraw import Drawing, elements


def words_at(
    place: tuple[float, float], said: str, halign: Literal["left", "right"] = "left"
) -> elements.Element:
    """Words in a drawing, whatever signs are in them: the library takes them for markup."""
    label = elements.Label()
    label.at(place).theta(0).label(escape(said, quote=False), halign=halign, ofst=0)
    return label


def as_svg(drawing: Drawing, spoken: str) -> str:
    """Give an SVG element, without an XML declaration, in points of paper.

    Parameters
    ----------
    drawing : Drawing
    spoken : str
        What it shows, in words, for whoever does not see it.
    """
    svg = drawing.get_imagedata("svg").decode("utf-8")
    labelled = f'<svg role="img" aria-label="{escape(spoken)}"'
    return svg[svg.index("<svg") :].replace("<svg", labelled, 1)
