"""Test rounds for knitting and crochet patterns."""

import os

__version__ = "0.1.0"

# The estimate works many small matrices. Threads for them only wait for each other, and on a machine with other
# work to do they make an analysis several times slower. Read by NumPy's OpenBLAS when it is first imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
