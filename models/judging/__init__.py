"""Which design is better, whether one is needed, and what the spread of parts does."""
