"""Runs the command line as ``python -m presolder``."""

from presolder.render.start import main

main()
