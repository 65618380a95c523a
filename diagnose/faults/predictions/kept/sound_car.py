"""The sound car beside the fault sets, of which only what differs from it is kept."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from diagnose.arrays import IntArray
from diagnose.faults.predictions.kept.blocks import Blocks, Numbers
from diagnose.faults.predictions.kept.volts import KeptVolts
from diagnose.faults.predictions.predicted import Prediction

# Amps that a fault has to move a current by to be kept. [A] Own choice: a tenth of the
# finest count of a usual meter (10 uA); so far at most what is told may be off.
KEPT_APART_AMPS = 1e-6

# Most amps that are kept. [A] Derived: the largest number of half precision is 65504;
# no battery gives a tenth of it.
MOST_KEPT_AMPS = 65_000.0

# Steps of half precision that a fault may move a resistance by and it is not kept. [1]
# Own choice: a step is a thousandth at most, and 6 mohm of what is below 6 ohm: a
# sixteenth of the finest count of a usual meter (0.1 ohm). Nearly half of what differs
# is no more than rounded the other way.
SPARED_STEPS = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptNodes:
    """What fault sets show, as differences from the sound car.

    Parameters
    ----------
    volts : KeptVolts
        By state and node. [V]
    source_units : Blocks
        By state and node. [units of `SOURCE_UNIT_OHMS`]
    probes : Blocks
        In one group, by probe; what is kept is in half precision, off by a fortieth of
        a percent at most, where a clamp is sure of two. [A or 1]
    """

    volts: KeptVolts
    source_units: Blocks
    probes: Blocks

    @staticmethod
    def joined(parts: list[KeptNodes]) -> KeptNodes:
        """Return the fault sets of all parts in turn; the list is emptied meanwhile.

        Parameters
        ----------
        parts : list[KeptNodes]
            Beside the same sound car, their rows rising; at least one.

        Returns
        -------
        KeptNodes
            Of all their fault sets.
        """
        volts = [part.volts for part in parts]
        units = [part.source_units for part in parts]
        probes = [part.probes for part in parts]
        parts.clear()
        return KeptNodes(
            volts=KeptVolts.joined(volts),
            source_units=Blocks.joined(units),
            probes=Blocks.joined(probes),
        )

    def varying(self) -> tuple[Numbers, ...]:
        """Return all but the sound car.

        Returns
        -------
        tuple[Numbers, ...]
            Keys, then values, then what happens to the hubs.
        """
        blocks = (self.volts.blocks, self.source_units, self.probes)
        return (
            *(b.keys for b in blocks),
            *(b.values for b in blocks),
            self.volts.moved,
            self.volts.place,
        )

    def arrays(self) -> dict[str, Numbers]:
        """Return all that is kept.

        Returns
        -------
        dict[str, Numbers]
            By name.
        """
        return {
            **self.volts.arrays(),
            **self.source_units.arrays("ohms"),
            **self.probes.arrays("probes"),
        }

    @staticmethod
    def from_arrays(arrays: Mapping[str, Numbers]) -> KeptNodes:
        """Return what `arrays` gave.

        Parameters
        ----------
        arrays : Mapping[str, Numbers]
            By name.

        Returns
        -------
        KeptNodes
            As it was kept.
        """
        return KeptNodes(
            volts=KeptVolts.from_arrays(arrays),
            source_units=Blocks.from_arrays(arrays, "ohms"),
            probes=Blocks.from_arrays(arrays, "probes"),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class SoundCar:
    """What fault sets are kept beside.

    Parameters
    ----------
    volts : Numbers
        Shape (n_states, n_nodes, n_draws). [V]
    source_units : Numbers
        Same shape. [units of `SOURCE_UNIT_OHMS`]
    probes : Numbers
        Shape (1, n_probes, n_draws). [A or 1]
    hubs : IntArray
        The nodes that others follow, shape (n_hubs,).
    shares : Numbers
        By how much, see `KeptVolts`. [1]
    """

    volts: Numbers
    source_units: Numbers
    probes: Numbers
    hubs: IntArray
    shares: Numbers

    @staticmethod
    def of(sound: Prediction, hubs: IntArray, shares: Numbers) -> SoundCar:
        """Return the sound car of a prediction.

        Parameters
        ----------
        sound : Prediction
            Of one row.
        hubs : IntArray
            Shape (n_hubs,).
        shares : Numbers
            As the attribute. [1]

        Returns
        -------
        SoundCar
            By state and node.
        """
        held = sound.volts[:, 0], sound.source_units[:, 0], sound.probes
        volts, units, probes = (
            np.ascontiguousarray(one.transpose(0, 2, 1)) for one in held
        )
        return SoundCar(
            volts=volts, source_units=units, probes=probes, hubs=hubs, shares=shares
        )

    def kept(self, whole: Prediction, first_row: int) -> KeptNodes:
        """Return what fault sets show that follow each other.

        Parameters
        ----------
        whole : Prediction
            The fault sets.
        first_row : int
            The number of the first of them.

        Returns
        -------
        KeptNodes
            Of these fault sets alone.
        """
        apart_amps = np.abs(whole.probes - self.probes.swapaxes(1, 2)).max(axis=1)
        probes = Blocks.of(
            self.probes,
            whole.probes[None],
            (apart_amps > KEPT_APART_AMPS)[None],
            first_row=first_row,
        )
        kept_amps = np.clip(probes.values, -MOST_KEPT_AMPS, MOST_KEPT_AMPS)
        # as whole numbers, which for what is not negative follow each other by steps;
        # what lies below wraps round
        own = self.source_units.view(np.uint16).swapaxes(1, 2)[:, None]
        steps = whole.source_units.view(np.uint16) - own
        steps += np.uint16(SPARED_STEPS)
        units_differ = np.asarray(steps > np.uint16(2 * SPARED_STEPS))
        return KeptNodes(
            volts=KeptVolts.of(
                self.volts, self.shares, self.hubs, whole.volts, first_row
            ),
            source_units=Blocks.of(
                self.source_units,
                whole.source_units,
                np.asarray(units_differ.any(axis=2)),
                first_row=first_row,
            ),
            probes=replace(probes, values=kept_amps.astype(np.float16)),
        )

    def beside(self, varying: Sequence[Numbers]) -> KeptNodes:
        """Return what `KeptNodes.varying` gave, beside this sound car.

        Parameters
        ----------
        varying : Sequence[Numbers]
            As it gave them.

        Returns
        -------
        KeptNodes
            Of the same fault sets.
        """
        bases = (self.volts, self.source_units, self.probes)
        each = zip(bases, varying[:3], varying[3:6], strict=True)
        volts, units, probes = (Blocks(base=b, keys=k, values=v) for b, k, v in each)
        return KeptNodes(
            volts=KeptVolts(
                blocks=volts, shares=self.shares, moved=varying[6], place=varying[7]
            ),
            source_units=units,
            probes=probes,
        )
