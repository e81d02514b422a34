"""The page's script: its modules, each after those it imports, as one text without imports.

The modules are standard ones, so that they can be tested and linted as they
are; a page opened from disk may load no other file, so they are joined.
"""

import re
from functools import cache
from importlib import resources

_IMPORT = re.compile(r'^import (\{[^}]*\}) from "\./([a-z]+)\.js";\n', re.MULTILINE)
_EXPORT = re.compile(r"^export (?=(?:const|(?:async )?function) (\w+))", re.MULTILINE)


@cache
def joined(entry: str) -> str:
    """A module and all that it imports, each in a scope of its own.

    Parameters
    ----------
    entry : str
        Name of the module in ``script``, without ``.js``.

    Returns
    -------
    str
        A script that runs at once and leaves no name behind.
    """
    order: list[str] = []

    def visit(name: str) -> None:
        if name not in order:
            for _, needed in _IMPORT.findall(_text(name)):
                visit(needed)
            order.append(name)

    visit(entry)
    return '"use strict";\n(() => {\n' + "".join(map(_scoped, order)) + "})();\n"


def _scoped(name: str) -> str:
    """A module as a constant named after it that holds what it exports."""
    text = _text(name)
    exported = ", ".join(_EXPORT.findall(text))
    body = _EXPORT.sub("", _IMPORT.sub(r"const \1 = \2Module;\n", text))
    return f"const {name}Module = (() => {{\n{body}return {{ {exported} }};\n}})();\n"


def _text(name: str) -> str:
    folder = resources.files("presolder.render.listening").joinpath("script")
    return folder.joinpath(f"{name}.js").read_text("utf-8")
