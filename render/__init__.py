"""Files, folders, pages and the command line."""
