"""The command line, one file a command; all options live here."""
