"""What the machine has that the program runs on.

Leaves to `session.car_size` what a car needs.
"""

from __future__ import annotations

import os
from pathlib import Path

# Where Linux says how much memory a container may use. Control group v2, from memory.
CONTAINER_LIMIT = Path("/sys/fs/cgroup/memory.max")


def machine_bytes() -> int | None:
    """Return how much memory there is, None where the system does not say. [byte]."""
    try:
        found = os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE")
    except (AttributeError, OSError, ValueError):
        return None
    try:
        # "max" where there is no limit
        return min(found, int(CONTAINER_LIMIT.read_text(encoding="ascii")))
    except (OSError, ValueError):
        return found if found > 0 else None
