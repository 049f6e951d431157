"""backprobe: what each wire does, which fault explains the readings, what to measure next."""

import os

# The matrices here are small and many: threads inside the linear algebra library only wait for
# each other (measured: ten times slower on two cores). Who sets a number of threads keeps it.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("OMP_NUM_THREADS", "1")

__version__ = "0.1.0"
