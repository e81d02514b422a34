"""Runs the command line as ``python -m presolder.render``."""

from presolder.render.start import main

main()
