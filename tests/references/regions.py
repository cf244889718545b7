"""Shapes in loose loops by OpenCV's grabCut, and how well any outline keeps to the truth, measured with Shapely.

On standard input a list of cases: a "picture" (path), the loop "around", the "truth" and "ours", rings of points in
pixels, the centre of the first pixel at (0.5, 0.5). An answer has, for "grabcut" and "ours", the intersection over
union ("iou") with the truth and the root mean square distance of the outline from it ("rms"); for "grabcut" also the
time it took ("ms"), reading the picture and following its borders not counted.
"""

import json
import sys
import time

import cv2
import numpy
import shapely

ROUNDS = 5
STEP = 2.0
"""Between places measured along an outline, in pixels."""


def grabcut(picture, around):
    image = cv2.imread(picture)
    mask = numpy.full(image.shape[:2], cv2.GC_BGD, numpy.uint8)
    cv2.fillPoly(mask, [numpy.round(numpy.array(around) - 0.5).astype(numpy.int32)], cv2.GC_PR_FGD)
    start = time.perf_counter()
    cv2.grabCut(image, mask, None, numpy.zeros((1, 65)), numpy.zeros((1, 65)), ROUNDS, cv2.GC_INIT_WITH_MASK)
    ms = 1000 * (time.perf_counter() - start)
    found = ((mask == cv2.GC_FGD) | (mask == cv2.GC_PR_FGD)).astype(numpy.uint8)
    # Twice as large, so that the outline runs along the sides of the pixels rather than through their centres.
    found = numpy.kron(numpy.pad(found, 1), numpy.ones((2, 2), numpy.uint8))
    loops, _ = cv2.findContours(found, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return ms, (max(loops, key=cv2.contourArea)[:, 0] + 0.5) / 2 - 1


def measured(outline, truth):
    # Pixels that meet in a corner only make a ring touch itself.
    outline, truth = shapely.Polygon(outline).buffer(0), shapely.Polygon(truth)
    iou = outline.intersection(truth).area / outline.union(truth).area
    line = outline.boundary
    places = shapely.line_interpolate_point(line, numpy.arange(0, line.length, STEP))
    rms = numpy.sqrt(numpy.mean(shapely.distance(places, truth.boundary) ** 2))
    return {"iou": iou, "rms": float(rms)}


def answer(case):
    ms, ring = grabcut(case["picture"], case["around"])
    theirs = {**measured(ring, case["truth"]), "ms": ms}
    return {"grabcut": theirs, "ours": measured(case["ours"], case["truth"])}


json.dump([answer(case) for case in json.load(sys.stdin)], sys.stdout)
