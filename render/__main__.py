"""Runs the command line as ``python -m presolder.render``."""

from presolder.render.cli import main

main()
