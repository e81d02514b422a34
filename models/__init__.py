"""Physics and signal processing: arrays in, arrays out."""
