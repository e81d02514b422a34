/* The core as one library: for Python by ctypes, and for pages as WebAssembly.

   What each function computes is said where it stands. Nothing here knows of Python, allocates, or
   keeps anything between two calls. */

#include "core/circuit.c"
#include "core/curve.c"
#include "core/sections.c"
#include "core/spread.c"
#include "core/sums.c"
#include "core/stream.c"

#ifndef __wasm__
/* What an extension's name is asked for by a linker; nobody imports it. */
FACE(PyInit_loops) void *PyInit_loops(void) { return 0; }
#endif
