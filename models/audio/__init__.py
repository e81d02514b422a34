"""From a recording to what is heard while the knob turns."""
