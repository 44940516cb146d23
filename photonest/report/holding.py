"""How each piece is held: tenons in jaws, and the recess by which a core is turned round."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from photonest.model import Bowl, Face, Nest, Shop
from photonest.report.units import Units, told

RECESS_MARGIN = 3.0
"""Wood between a recess and the inside of the bowl that is hollowed there, in mm."""


@dataclass(frozen=True)
class Grip:
    """A tenon or recess and the jaws that hold it; sizes in mm."""

    kind: Literal["tenon", "recess"]
    diameter: float
    depth: float
    jaws: str

    def words(self, units: Units = "mm") -> str:
        """Return the grip in a few words.

        >>> Grip("tenon", 95.8, 6.0, "large").words()
        'tenon Ø 96 mm, 6 mm long, large jaws'
        """
        size = f"Ø {told(self.diameter, units)}, {told(self.depth, units)}"
        return f"{self.kind} {size} {'long' if self.kind == 'tenon' else 'deep'}, {self.jaws} jaws"


def tenon_of(bowl: Bowl, shop: Shop) -> Grip:
    """Return the tenon that a bowl is held by: as wide as its foot, as long as the shop's tenons."""
    return Grip("tenon", bowl.foot_diameter, shop.tenon, bowl.jaws)


def face_recess(nest: Nest, shop: Shop) -> Grip | None:
    """Return the recess to cut into the face before coring, or None where no jaws fit one.

    Every core keeps the middle of the face, so one recess there holds each of them, back outwards, while its foot is
    turned. It lies in the wood that is hollowed from the last bowl, `RECESS_MARGIN` from that bowl's inside. A nest of
    one bowl needs none.
    """
    if not nest.cuts:
        return None
    rho, h = np.asarray(nest.bowls[-1].inner).T
    depth = shop.tenon
    if depth + RECESS_MARGIN > h.max():
        return None
    deepest = np.interp(depth + RECESS_MARGIN, h, rho)  # the inside narrows downwards
    widest = 2 * (float(deepest) - RECESS_MARGIN)
    for jaws in sorted(shop.jaws, key=lambda j: -j.diameter.high):
        wish = jaws.round_at if jaws.round_at is not None else min(jaws.diameter.high, math.floor(widest))
        if jaws.diameter.holds(wish) and wish <= widest:
            return Grip("recess", wish, depth, jaws.name)
    return None


def first_hold(nest: Nest, shop: Shop, units: Units = "mm") -> str:
    """Return how the blank is held for the first cut."""
    if shop.screws is not None:
        return f"faceplate on the foot, its screws no more than {told(shop.screws, units)} deep"
    return tenon_of(nest.bowls[0], shop).words(units)


def defects_in_recess(face: Face, nest: Nest, recess: Grip) -> tuple[str, ...]:
    """Return the names of what makes the recess's wood unsound, for an axis square to the face."""
    import shapely

    if abs(nest.axis.direction[2]) < 0.5:
        return ()
    middle = shapely.Point(nest.axis.point[:2])
    reach = recess.diameter / 2 + RECESS_MARGIN
    found = []
    if face.pith is not None and middle.distance(shapely.Point(face.pith.point)) < reach:
        found.append("the pith")
    shapes = [(f"crack {c.id}", c.status, shapely.LineString(c.path)) for c in face.cracks]
    shapes += [(f"{d.kind} {d.id}", d.status, shapely.Polygon(d.outline)) for d in face.defects]
    found += [name for name, status, shape in shapes if status != "dismissed" and middle.distance(shape) < reach]
    return tuple(found)
