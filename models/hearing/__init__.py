"""What ears make of a spectrum: loudness, sharpness, and which changes they notice."""
