"""Measures outlines with Shapely (GEOS): a list of cases on standard input, a list of answers on standard output.

A case has "loops": closed loops of lines [p, q] and cubics [p, q, r, s]. It may have "against", a curve known in closed
form: {"circle": [x, y, radius]} or {"polygon": points, "matrix": [a, b, c, d, e, f]}, the matrix as in SVG.
An answer tells whether the outline is "valid" (simple loops that do not meet), the "length" of all loops, for each
loop whether it runs anticlockwise with y up ("ccw"), for a valid outline its "area" by the even-odd rule, and the
"hausdorff" distance to "against".
"""

import json
import sys

import numpy
import shapely
import shapely.affinity

STEPS = 400
"""Chords a cubic: their length is short of the arc by less than a millionth for arcs of a quarter turn and less."""


def sampled(segments):
    points = []
    for segment in segments:
        p = numpy.array(segment, dtype=float)
        if len(p) == 2:
            points.append(p[:1])
            continue
        t = numpy.linspace(0, 1, STEPS, endpoint=False)[:, None]
        points.append((1 - t) ** 3 * p[0] + 3 * (1 - t) ** 2 * t * p[1] + 3 * (1 - t) * t**2 * p[2] + t**3 * p[3])
    return shapely.LinearRing(numpy.concatenate(points))


def known(against):
    if "circle" in against:
        x, y, radius = against["circle"]
        return shapely.Point(x, y).buffer(radius, quad_segs=500).boundary
    a, b, c, d, e, f = against["matrix"]
    polygon = shapely.Polygon(against["polygon"])
    return shapely.affinity.affine_transform(polygon, [a, c, b, d, e, f]).boundary


def measured(case):
    rings = [sampled(segments) for segments in case["loops"]]
    apart = all(not a.intersects(b) for i, a in enumerate(rings) for b in rings[:i])
    answer = {
        "valid": apart and all(ring.is_simple for ring in rings),
        "length": sum(ring.length for ring in rings),
        "ccw": [bool(ring.is_ccw) for ring in rings],
    }
    if answer["valid"]:
        filled = shapely.Polygon()
        for ring in rings:
            filled = filled.symmetric_difference(shapely.Polygon(ring))
        answer["area"] = filled.area
    if "against" in case:
        answer["hausdorff"] = shapely.MultiLineString(rings).hausdorff_distance(known(case["against"]))
    return answer


json.dump([measured(case) for case in json.load(sys.stdin)], sys.stdout)
