"""The car of a trial made ready wherever its games are played, here or on a cluster.

The car goes to a cluster as the text of its file. A worker of another version refuses:
the same seeds would give other games there, and nobody would notice.
"""

from __future__ import annotations

import platform
from pathlib import Path

from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.car_file import load_car
from diagnose.session.model_key import COMPILED_LAYERS, program_digest
from diagnose.session.ready_car import Model
from diagnose.terminal.preparation.car_files import open_car, published_knowledge
from diagnose.terminal.preparation.prepared_car import prepared_model
from diagnose.trial.cluster import ClusterError


def model_of(car: str) -> Model:
    """Return a car ready for diagnosis; each worker of a trial calls it.

    Parameters
    ----------
    car : str
        Path of a car file, or name of a shipped car.

    Raises
    ------
    DiagnoseError
        If there is no such car, or with everything that is wrong with its file.
    """
    knowledge = published_knowledge()
    return prepared_model(open_car(car, knowledge), knowledge)


def model_of_text(name: str, text: str, version: str) -> Model:
    """Return a car ready for diagnosis from its file's text, where there is no file.

    Parameters
    ----------
    name, text : str
        Name of the file, and what stands in it.
    version : str
        `version_of` where the work comes from.

    Raises
    ------
    ClusterError
        If this program is another version.
    """
    knowledge = published_knowledge()
    if version_of(knowledge) != version:
        raise ClusterError(
            f"the worker on {platform.node()} has another version of this program or "
            "of its knowledge; install the same one on every machine"
        )
    return prepared_model(load_car(Path(name), knowledge, text=text), knowledge)


def version_of(knowledge: Knowledge) -> str:
    """Return what has to be the same wherever the same figures are to come out."""
    layers = (*COMPILED_LAYERS, "session", "trial")
    return f"{knowledge.digest} {program_digest(layers)}"
