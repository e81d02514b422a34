"""Filling in the page templates."""

from importlib import resources
from typing import Any

import jinja2


def template_text(name: str) -> str:
    """The text of a template."""
    return resources.files("presolder.render.report").joinpath("templates", name).read_text("utf-8")


def filled(name: str, **values: Any) -> str:  # noqa: ANN401
    """A template with its values in; text is escaped, and a missing value is an error."""
    environment = jinja2.Environment(
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        loader=jinja2.FunctionLoader(template_text),
    )
    return environment.get_template(name).render(**values)
