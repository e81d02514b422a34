"""Results in words, tables, JSON and drawings."""
