"""The docs command: the pages that describe formats, figures and the model."""

from importlib import resources
from importlib.resources.abc import Traversable

import click

from presolder.models.errors import InputError
from presolder.render.commands.examples import examples
from presolder.render.commands.options import json_option
from presolder.render.commands.output import say_blocks, say_json
from presolder.render.files.toml import nearest

# What only the site or a package index makes something of; a built package leaves it out.
_NO_PAGES = ("api.md", "decisions.md", "index.md", "package.md")


@click.command(epilog=examples("presolder docs", "presolder docs rig-format | less"))
@click.argument("page", required=False)
@json_option
def docs(page: str | None, as_json: bool) -> None:
    """List the pages that describe formats, figures and the model, or print one.

    As Markdown, to be read as it stands.
    """
    pages = _pages()
    if page is None:
        if as_json:
            titles = [{"name": name, "title": _title(file)} for name, file in pages.items()]
            say_json({"pages": titles})
            return
        width = max(len(name) for name in pages)
        say_blocks([f"{name:{width}}  {_title(file)}" for name, file in pages.items()])
        return
    name = page.removeprefix("docs/").removesuffix(".md")
    if name not in pages:
        raise InputError(
            f"page {page!r} is not there; nearest: {nearest(name, pages)}; one of"
            f" {', '.join(pages)}"
        )
    text = pages[name].read_text("utf-8")
    if as_json:
        say_json({"name": name, "title": _title(pages[name]), "markdown": text})
    else:
        click.echo(text.rstrip())


def _pages() -> dict[str, Traversable]:
    """The pages that come with the package, by name."""
    found = {
        file.name.removesuffix(".md"): file
        for file in resources.files("presolder.docs").iterdir()
        if file.name.endswith(".md") and file.name not in _NO_PAGES
    }
    return dict(sorted(found.items()))


def _title(page: Traversable) -> str:
    lines = page.read_text("utf-8").splitlines()
    return next(line.removeprefix("# ") for line in lines if line.startswith("# "))
