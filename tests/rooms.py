"""Lists the rooms of the house: every module with what its docstring says first.

``python -m tests.rooms`` prints it, so that no list of modules has to be kept by hand.
"""

from __future__ import annotations

import ast
import sys
from pathlib import Path

HOUSE = Path(__file__).resolve().parents[1] / "diagnose"


def listed() -> list[str]:
    """Return a line for each module, packages before what is in them."""
    lines = []
    for path in sorted(HOUSE.rglob("*.py"), key=lambda found: found.with_suffix("")):
        name = ".".join(path.relative_to(HOUSE.parent).with_suffix("").parts)
        says = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""
        first = " ".join(says.split("\n\n")[0].split())
        lines.append(f"{name.removesuffix('.__init__')}: {first}")
    return lines


if __name__ == "__main__":
    sys.stdout.write("\n".join(listed()) + "\n")
