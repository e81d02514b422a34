"""Runs the command line as ``python -m presolder``."""

from presolder.render.cli import main

main()
