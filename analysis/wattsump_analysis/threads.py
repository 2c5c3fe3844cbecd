"""One thread of linear algebra per process.

The matrices of a fit are small: a second thread doubles the processor time and saves none.
Libraries read these names when they are loaded.
"""

import os

__all__ = ("NAMES", "one_by_default")

NAMES = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")


def one_by_default() -> None:
    """Set one thread unless the environment sets another number; call before numpy is loaded."""
    for name in NAMES:
        os.environ.setdefault(name, "1")
