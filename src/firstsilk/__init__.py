"""firstsilk: breed early maize, from the plan to the decision."""

import os

from firstsilk.compiling import place_compiled_code

__version__ = "0.1.0"

# One thread for dense algebra unless the caller says otherwise: threads that spin on a shared core made small fits
# twenty times slower (docs/figures.md), and many trials run better side by side than one on many threads.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
place_compiled_code()
