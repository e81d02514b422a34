"""The bundled recordings, and the script that made the synthetic one."""
