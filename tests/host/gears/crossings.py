"""Where a body of triangles crosses itself."""

from __future__ import annotations

import numpy as np
import shapely

DEEP_MM = 0.002  # vertices are rounded to 0.0001 and joined within 0.001


def crossings(vertices: np.ndarray, triangles: np.ndarray) -> list[tuple[int, int]]:
    """Pairs of triangles that go through each other: an edge of one begins and ends well to
    either side of the other and passes inside of it. Neighbours, which share a corner, cannot."""
    corners = vertices[triangles]
    low, high = corners.min(axis=1), corners.max(axis=1)
    boxes = shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1])
    one, other = shapely.STRtree(boxes).query(boxes)
    keep = one < other
    one, other = one[keep], other[keep]
    # and of some height in common: what lies flat on a wall's end only touches it
    keep = np.maximum(low[one, 2], low[other, 2]) < np.minimum(high[one, 2],
                                                               high[other, 2]) - DEEP_MM
    flat = (high[:, 2] - low[:, 2]) < DEEP_MM
    inside = ((low[one, 2] < high[other, 2] - DEEP_MM) & (low[one, 2] > low[other, 2] + DEEP_MM)
              & flat[one])
    inside |= ((low[other, 2] < high[one, 2] - DEEP_MM) & (low[other, 2] > low[one, 2] + DEEP_MM)
               & flat[other])
    keep |= inside
    one, other = one[keep], other[keep]
    shared = (triangles[one][:, :, None] == triangles[other][:, None, :]).any(axis=(1, 2))
    one, other = one[~shared], other[~shared]
    found = _through(corners[one], corners[other]) | _through(corners[other], corners[one])
    return list(zip(one[found].tolist(), other[found].tolist(), strict=True))


def _through(edges_of: np.ndarray, face: np.ndarray) -> np.ndarray:
    """For each pair whether an edge of the first goes through the second."""
    a, ab, ac = face[:, 0], face[:, 1] - face[:, 0], face[:, 2] - face[:, 0]
    normal = np.cross(ab, ac)
    length = np.linalg.norm(normal, axis=1)
    thin = length < 1e-9
    normal = normal / np.where(thin, 1.0, length)[:, None]
    side = np.einsum("pij,pj->pi", edges_of - a[:, None], normal)
    hit = np.zeros(len(face), dtype=bool)
    d00, d01, d11 = (np.einsum("pi,pi->p", x, y) for x, y in ((ab, ab), (ab, ac), (ac, ac)))
    area = np.where(thin, 1.0, d00 * d11 - d01 * d01)
    for n in range(3):
        p, q = side[:, n], side[:, (n + 1) % 3]
        crosses = (np.minimum(p, q) < -DEEP_MM) & (np.maximum(p, q) > DEEP_MM) & ~thin
        share = np.where(crosses, p / np.where(crosses, p - q, 1.0), 0.0)
        at = edges_of[:, n] + share[:, None] * (edges_of[:, (n + 1) % 3] - edges_of[:, n]) - a
        d20, d21 = (np.einsum("pi,pi->p", at, x) for x in (ab, ac))
        v, w = (d11 * d20 - d01 * d21) / area, (d00 * d21 - d01 * d20) / area
        # inside by more than rounding: distances to the three sides
        to_ab, to_ac = w * length / np.sqrt(d00), v * length / np.sqrt(d11)
        to_bc = (1 - v - w) * length / np.linalg.norm(ac - ab, axis=1)
        hit |= crosses & (to_ab > DEEP_MM) & (to_ac > DEEP_MM) & (to_bc > DEEP_MM)
    return hit
