"""Names for the nodes of a network that every interchange format can hold.

Leaves what the nodes stand for to `cause_network` and `interchange`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

# Words of the grammar of BIF 0.15, which no reader takes for a name. Origin: F. G.
# Cozman, The Interchange Format for Bayesian Networks, 1998.
RESERVED = frozenset(
    ("network", "variable", "probability", "table", "default", "property", "type")
)


def node_name(words: str) -> str:
    """Return a name with an underscore for whatever is no letter or digit.

    Parameters
    ----------
    words : str
        Any text.

    Returns
    -------
    str
        Letters, digits and underscores, as many as there were letters before.

    Examples
    --------
    >>> node_name("pump-relay.coil")
    'pump_relay_coil'
    """
    return re.sub(r"\W", "_", words)


def node_names(words: Sequence[str], taken: Iterable[str] = ()) -> dict[str, str]:
    """Return a node name for each text, none of them twice.

    Parameters
    ----------
    words : Sequence[str]
        What to name.
    taken : Iterable[str]
        Names that are given away already.

    Returns
    -------
    dict[str, str]
        Text to its name, in the order of `words`. A name that is taken, or reserved,
        gets a number at its end.

    Examples
    --------
    >>> node_names(["relay.coil", "relay-coil", "table"])
    {'relay.coil': 'relay_coil', 'relay-coil': 'relay_coil_2', 'table': 'table_2'}
    """
    gone = {*taken, *RESERVED}
    found = {}
    for word in words:
        plain = name = node_name(word)
        count = 1
        while name in gone:
            count += 1
            name = f"{plain}_{count}"
        gone.add(name)
        found[word] = name
    return found
