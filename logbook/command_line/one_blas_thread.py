"""Import before numpy: one thread for linear algebra, because the engine brings its own.

Two threads inside every small product are slower than one, and starting them
costs a tenth of a second of a command that lasts less than one.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
