"""Filling in the page templates."""

from importlib import resources
from typing import Any

import jinja2


def page_part(name: str) -> str:
    """The text of a file in ``page_parts``."""
    return resources.files("presolder.render").joinpath("page_parts", name).read_text("utf-8")


def filled(name: str, **values: Any) -> str:  # noqa: ANN401
    """A template with its values in; text is escaped, and a missing value is an error."""
    environment = jinja2.Environment(
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        loader=jinja2.FunctionLoader(page_part),
    )
    return environment.get_template(name).render(**values)
