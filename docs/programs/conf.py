"""How Sphinx builds the documentation: ``sphinx-build -W -c docs/programs docs build/site``."""

import tempfile
from importlib.metadata import version as installed_version
from pathlib import Path

import presolder as ps

project = "presolder"
author = "the presolder developers"
release = version = installed_version("presolder")

extensions = ["sphinx.ext.autodoc", "numpydoc", "myst_nb"]
source_suffix = {".md": "myst-nb", ".rst": "restructuredtext"}
exclude_patterns = ["build", "programs", "package.md", "walkthrough/*", "**.ipynb_checkpoints"]

html_theme = "furo"
html_show_copyright = False
html_title = "presolder"
# Nothing is fetched from elsewhere, neither while building nor while reading.
html_theme_options = {"footer_icons": []}

# The functions stand in the order of the job, each with its own signature.
autodoc_member_order = "bysource"
autodoc_typehints = "none"
numpydoc_show_class_members = False
myst_heading_anchors = 3

# The tutorial runs when the pages are built, and a failing cell fails the build.
nb_execution_mode = "force"
nb_execution_raise_on_error = True
nb_execution_timeout = 120

# The front page holds a listening page, as `presolder demo` makes it.
_made = tempfile.TemporaryDirectory()
html_extra_path = [_made.name]
ps.pack(
    Path(_made.name) / "listen.html",
    ps.sample("chords"),
    ps.rig("humbucker-500k", captured="string"),
    contents=ps.Contents(single_file=True),
)
