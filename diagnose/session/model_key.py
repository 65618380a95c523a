"""The key of a compiled car: what it was worked out from.

A change of the car, of what is published, or of the modules that work it out makes
another key, so that a change of the solver never meets old predictions.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import fields, is_dataclass
from enum import Enum
from importlib.resources import files
from importlib.resources.abc import Traversable

import diagnose
from diagnose.circuit.car import Car
from diagnose.faults.knowledge import Knowledge

# The layers whose change makes a compiled car worthless.
COMPILED_LAYERS = ("circuit", "measurement", "faults", "inference")


def _plain(value: object) -> object:
    """Return records as plain data in a fixed order, for hashing."""
    if is_dataclass(value) and not isinstance(value, type):
        # where the file lies, and where in it, changes nothing about the car
        named = {
            f.name: _plain(getattr(value, f.name))
            for f in fields(value)
            if f.name not in ("path", "line")
        }
        return {"record": type(value).__name__, **named}
    if isinstance(value, Mapping):
        return [[_plain(k), _plain(v)] for k, v in value.items()]
    if isinstance(value, (frozenset, set)):
        return sorted(str(item) for item in value)
    if isinstance(value, (tuple, list)):
        return [_plain(item) for item in value]
    if isinstance(value, Enum):
        return value.value
    return value


def program_digest(layers: Sequence[str] = COMPILED_LAYERS) -> str:
    """Return a hash of the program's version and of the modules of some layers."""
    digest = hashlib.sha256(diagnose.__version__.encode())
    package = files("diagnose")
    for layer in layers:
        for module in _modules(package / layer):
            digest.update(module.read_bytes())
    return digest.hexdigest()


def _modules(package: Traversable) -> Iterator[Traversable]:
    """Yield the modules of a package and of the packages in it, by name."""
    for entry in sorted(package.iterdir(), key=lambda found: found.name):
        if entry.is_dir():
            yield from _modules(entry)
        elif entry.name.endswith(".py"):
            yield entry


def model_key(car: Car, knowledge: Knowledge, n_draws: int) -> str:
    """Return the cache key: car, published knowledge, program, number of draws."""
    digest = hashlib.sha256(json.dumps(_plain(car)).encode()).hexdigest()
    return f"{digest}-{knowledge.digest}-{program_digest()}-{n_draws}"
