"""Lets ``python -m diagnose`` do what the command does."""

from __future__ import annotations

import sys

from diagnose.cli import main

sys.exit(main())
