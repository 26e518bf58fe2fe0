"""Which BLAS does a process use, with which kernels, on how many threads?"""

from __future__ import annotations

import ctypes
import os
from pathlib import Path

KERNELS = ("scipy_openblas_get_corename64_", "scipy_openblas_get_corename", "openblas_get_corename")
THREADS = ("scipy_openblas_get_num_threads64_", "scipy_openblas_get_num_threads", "openblas_get_num_threads")
CONFIGS = ("scipy_openblas_get_config64_", "scipy_openblas_get_config", "openblas_get_config")


def name_our_blas() -> str:
    """The BLAS of numpy and of scipy, as loaded in this process."""
    import numpy
    import scipy
    import scipy.linalg.blas

    told = []
    for module in (numpy, scipy):
        blas = module.show_config(mode="dicts")["Build Dependencies"]["blas"]
        told.append(f"{module.__name__} {module.__version__} with {blas['name']} {blas['version']}")
    maps = Path("/proc/self/maps")
    if maps.exists():
        paths = sorted({line.split()[-1] for line in maps.read_text().splitlines() if "openblas" in line})
        told += [describe_library(path) for path in paths]
    return "; ".join(told)


def describe_library(path: str) -> str:
    """What an OpenBLAS library says of itself, at the threads that the environment asks for."""
    try:
        library = ctypes.CDLL(path)
    except OSError:
        return path
    version = _ask(library, CONFIGS, ctypes.c_char_p)
    if version is None:
        return path
    words = version.decode().split()
    kernels = _ask(library, KERNELS, ctypes.c_char_p)
    threads = _ask(library, THREADS, ctypes.c_int)
    kernels_said = kernels.decode() if kernels else "unknown"
    return f"{' '.join(words[:2])}, {kernels_said} kernels, {threads or os.environ.get('OPENBLAS_NUM_THREADS')} thread"


def _ask(library: ctypes.CDLL, names: tuple[str, ...], kind: type) -> object:
    for name in names:
        function = getattr(library, name, None)
        if function is not None:
            function.restype = kind
            return function()
    return None
