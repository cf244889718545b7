"""Areas narrowed, widened, joined and cut by Shapely (GEOS), and distances to an edge by OpenCV."""

import json
import sys

import cv2
import numpy as np
from shapely.geometry import Polygon
from shapely.ops import unary_union


def region(loops):
    """What loops of points fill by the even-odd rule."""
    whole = Polygon()
    for loop in loops:
        whole = whole.symmetric_difference(Polygon(loop).buffer(0))
    return whole


def offset(case):
    theirs = region(case["loops"]).buffer(case["by"], quad_segs=64)
    ours = region(case["found"])
    return {"area": theirs.area, "apart": theirs.symmetric_difference(ours).area, "length": theirs.length}


def boolean(case):
    a, b = region(case["a"]), region(case["b"])
    return {"and": a.intersection(b).area, "or": unary_union([a, b]).area, "minus": a.difference(b).area}


def distance(case):
    """The area of what lies at least so far inside, and how much of it ours differs from, on a raster."""
    scale = 8
    loops = [np.array(loop) for loop in case["loops"]]
    low = np.min([loop.min(axis=0) for loop in loops], axis=0) - 2
    high = np.max([loop.max(axis=0) for loop in loops], axis=0) + 2
    shape = np.ceil((high - low) * scale).astype(int)

    def drawn(loops):
        image = np.zeros((shape[1], shape[0]), np.uint8)
        points = [np.round(((np.array(loop) - low) * scale - 0.5) * 16).astype(np.int32) for loop in loops]
        cv2.fillPoly(image, points, 255, shift=4)
        return image

    far = cv2.distanceTransform(drawn(loops), cv2.DIST_L2, cv2.DIST_MASK_PRECISE) / scale
    theirs, ours = far >= case["by"], drawn(case["found"]) > 0
    pixel = 1 / scale**2
    return {"area": float(theirs.sum() * pixel), "apart": float((theirs != ours).sum() * pixel)}


KINDS = {"offset": offset, "boolean": boolean, "distance": distance}
print(json.dumps([KINDS[case["kind"]](case) for case in json.load(sys.stdin)]))
