"""A tank's crowds and its waters as one system of modes, for laws that bend.

Crowds of a group, slabs of a kind with the same faces open, split into their mean, which meets the
water, and their deviations from it, which meet water that stays. Put together again, each is the
sum of both; there are then a few more modes than unknowns, which does no harm.

M members, U unknowns of the tank, q modes.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from washsim.engine.crowd import Crowd
from washsim.engine.faces import Faces
from washsim.engine.interval import Modes
from washsim.engine.space import Array


def whole(together: Modes, groups: list[list[Crowd]], alone: list[Modes]) -> Modes:
    """Modes of all crowds and the waters, U, from those of the groups' means and the waters.

    alone: for each group of more than one, the modes of a slab in water that stays. No fluxes are
    kept.
    """
    if all(len(group) == 1 for group in groups):
        return together
    members, common, means = together.analyse.shape
    last, waters = groups[-1][-1].rows.stop, means - sum(group[0].slab.size for group in groups)
    parting = [(group, own) for group, own in zip(groups, alone, strict=True) if len(group) > 1]
    rates = [together.rates] + [own.rates for group, own in parting for _ in group]
    analyse = np.zeros((members, sum(r.shape[1] for r in rates), last + waters))
    compose = np.zeros((members, last + waters, analyse.shape[1]))
    mean, column = 0, common
    for group, own in zip(groups, alone, strict=True):
        mine = slice(mean, mean + group[0].slab.size)
        total = np.sum([crowd.area for crowd in group], axis=0)
        shares = [(crowd.area / total)[:, None, None] for crowd in group]
        for crowd, share in zip(group, shares, strict=True):
            analyse[:, :common, crowd.rows] = share * together.analyse[:, :, mine]
            compose[:, crowd.rows, :common] = together.compose[:, mine]
        for crowd in group if len(group) > 1 else ():
            apart = slice(column, column + own.rates.shape[1])
            for other, share in zip(group, shares, strict=True):
                analyse[:, apart, other.rows] = ((other is crowd) - share) * own.analyse
            compose[:, crowd.rows, apart] = own.compose
            column = apart.stop
        mean = mine.stop
    analyse[:, :common, last:] = together.analyse[:, :, mean:]
    compose[:, last:, :common] = together.compose[:, mean:]
    return Modes(np.concatenate(rates, axis=1), analyse, compose, together.flows[:, :0])


def faces(
    currents: Callable[[Array, Array], Array],
    reference: Array,
    still: Array,
    crowds: list[Crowd],
    volumes: Array,
    pooled: bool,
) -> Faces:
    """Both faces of each crowd, towards the moving water or, pooled, the dead water beneath it.

    The first three as of `Faces`; volumes (M, 1 or 2) m3 of the waters, whose unknowns follow
    those of the crowds; pooled as of `Conditions`.
    """
    waters = crowds[-1].rows.stop
    seen = np.zeros((len(volumes), 2 * len(crowds), waters + volumes.shape[1]))
    given = np.zeros_like(seen)
    for i, crowd in enumerate(crowds):
        nodes = 0, crowd.slab.space.size - 1
        for side, node in enumerate(nodes):
            face, at, water = 2 * i + side, crowd.rows.start + node, int(pooled and side == 1)
            seen[:, face, at], seen[:, face, waters + water] = 1.0, -1.0
            given[:, face, at] = -1 / crowd.slab.mobile[:, node]
            # a member without a dead part keeps a trace of one, as in its modes
            held = np.maximum(volumes[:, water], 1e-20)
            given[:, face, waters + water] = crowd.area / held
    opened = np.array([crowd.open for crowd in crowds]).ravel()
    return Faces(currents, reference, opened, still, seen, given)
