"""Many jobs from one file: which there are, and running them so that one can go on later."""
