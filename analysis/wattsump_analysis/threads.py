"""One thread of linear algebra per process.

The matrices of a fit are small: a second thread costs as much processor time as the work
itself and brings it to an end no sooner. Libraries read these names when they are loaded.
"""

import os

__all__ = ("NAMES", "one_by_default")

NAMES = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")


def one_by_default() -> None:
    """Ask for one thread, unless the environment says otherwise; before numpy is loaded."""
    for name in NAMES:
        os.environ.setdefault(name, "1")
