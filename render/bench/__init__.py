"""The bench in a browser: a guitar's whole job on one page, served to this machine alone."""
