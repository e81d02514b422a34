"""The bundled recordings, and the scripts that made them."""
