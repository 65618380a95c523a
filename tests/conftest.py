"""Settings that have to stand before numpy is imported."""

from __future__ import annotations

import os

# The matrices have about a hundred rows: several threads each take longer than one, by
# half on two cores that also do something else (timed on the shipped car's tests).
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
