"""Reading what users give, and writing outputs that appear whole or not at all."""
