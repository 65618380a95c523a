"""A network written down in XMLBIF 0.3.

Written here and not by pgmpy: its writer adds the numbers of a table to a growing text
one by one, which takes minutes for the half million numbers of a car with its symptoms.
Leaves the tables to `network`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from xml.etree import ElementTree

from diagnose.arrays import FloatArray

# How far the sum of a table's column may be from 1. [1] Own choice: a thousand
# roundings of a double; pgmpy itself lets a hundredth pass.
SUM_TOLERANCE = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class NodeTable:
    """The conditional probabilities of one node.

    Parameters
    ----------
    node : str
        Name of the node.
    states : tuple[str, ...]
        Of the node.
    parents : tuple[str, ...]
        Names of the nodes it depends on.
    values : FloatArray
        Probability of each state, shape (n_states, one axis for each parent). [1]
    """

    node: str
    states: tuple[str, ...]
    parents: tuple[str, ...]
    values: FloatArray


def xmlbif_text(name: str, tables: Sequence[NodeTable]) -> str:
    """Return a network as an XMLBIF file.

    Parameters
    ----------
    name : str
        Of the network.
    tables : Sequence[NodeTable]
        One for each node, in the order they shall have in the file.

    Returns
    -------
    str
        The file, ending in a line break. Each row of a table holds one configuration of
        the parents, the last parent changing fastest, with every digit.

    References
    ----------
    F. G. Cozman, The Interchange Format for Bayesian Networks (XMLBIF 0.3), 1998.
    """
    root = ElementTree.Element("BIF", VERSION="0.3")
    network = ElementTree.SubElement(root, "NETWORK")
    _leaf(network, "NAME", name)
    for table in tables:
        variable = ElementTree.SubElement(network, "VARIABLE", TYPE="nature")
        _leaf(variable, "NAME", table.node)
        _leaves(variable, "OUTCOME", table.states)
    for table in tables:
        definition = ElementTree.SubElement(network, "DEFINITION")
        _leaf(definition, "FOR", table.node)
        _leaves(definition, "GIVEN", table.parents)
        _leaf(definition, "TABLE", _numbers(table))
    ElementTree.indent(root)
    body = ElementTree.tostring(root, encoding="unicode")
    return f'<?xml version="1.0" encoding="utf-8"?>\n{body}\n'


def _leaf(above: ElementTree.Element, tag: str, text: str) -> None:
    ElementTree.SubElement(above, tag).text = text


def _leaves(above: ElementTree.Element, tag: str, texts: Iterable[str]) -> None:
    for text in texts:
        _leaf(above, tag, text)


def _numbers(table: NodeTable) -> str:
    """Return a table's numbers, the states side by side in each row."""
    columns = table.values.reshape(len(table.states), -1).T
    return "\n".join(" ".join(map(repr, column)) for column in columns.tolist())
