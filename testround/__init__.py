"""Test rounds for knitting and crochet patterns."""

import os

__version__ = "0.1.0"

# An analysis is many small matrices, one after the other: handing each to a team of threads costs more than it
# brings, most of all on a busy server. NumPy's libraries read this when they are loaded.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
