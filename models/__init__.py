"""The physics and signal processing of presolder: arrays in, arrays out, no files."""
