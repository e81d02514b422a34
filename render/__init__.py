"""Files, folders, pages and the command line."""

# Of what is printed and answered as JSON; it grows where a key goes or changes its meaning, not
# where one comes.
SCHEMA = 1
