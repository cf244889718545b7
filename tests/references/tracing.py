"""Contours by OpenCV, scikit-image and SciPy: {"pictures": paths, "runs": n} on standard input, answers on standard output.

Each gets the picture as it can use it best: grey, in linear light, and the level half-way between ground and shapes,
none of which is timed. An answer holds for each method its "name", the median "ms" of all runs, and its "loops" of
points in pixels, x right, y down, the centre of the first pixel at (0.5, 0.5).
"""

import json
import sys
import time

import cv2
import numpy
import scipy.interpolate
import skimage.measure

LEAST = 100
"""Points of a loop that is no speck of noise."""
SMOOTHED = 100_000
"""Points that the splines are fitted to, of all loops together."""


def linear(encoded):
    return numpy.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)


def timed(runs, work):
    taken = []
    for _ in range(runs):
        start = time.perf_counter()
        answer = work()
        taken.append(1000 * (time.perf_counter() - start))
    return sorted(taken)[runs // 2], answer


def splines(loops):
    """Periodic smoothing splines, as smooth as the noise of the points asks for, sampled as often as they have points."""
    step = max(1, sum(len(loop) for loop in loops) // SMOOTHED)
    fitted = []
    for loop in loops:
        points = loop[::step]
        points = points[numpy.any(points != numpy.roll(points, 1, axis=0), axis=1)]
        noise = numpy.std(points[1:-1] - (points[:-2] + points[2:]) / 2) / numpy.sqrt(1.5)
        knots, _ = scipy.interpolate.splprep(points.T, s=2 * len(points) * noise**2, per=True)
        at = numpy.linspace(0, 1, len(points), endpoint=False)
        fitted.append((numpy.array(scipy.interpolate.splev(at, knots)).T, len(knots[1][0])))
    return fitted


def methods(picture, runs):
    grey = linear(cv2.imread(picture, cv2.IMREAD_GRAYSCALE) / 255)
    level = (numpy.quantile(grey, 0.02) + numpy.median(grey)) / 2
    dark = (grey < level).astype(numpy.uint8)
    ms, (loops, _) = timed(runs, lambda: cv2.findContours(dark, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE))
    loops = [loop[:, 0] + 0.5 for loop in loops if len(loop) > LEAST]
    yield "OpenCV findContours", ms, loops, sum(map(len, loops))
    ms, loops = timed(runs, lambda: skimage.measure.find_contours(grey, level))
    loops = [loop[:-1, ::-1] + 0.5 for loop in loops if len(loop) > LEAST]
    yield "scikit-image find_contours", ms, loops, sum(map(len, loops))
    ms, fitted = timed(1, lambda: splines(loops))
    yield "SciPy splprep on its points", ms, [loop for loop, _ in fitted], sum(knots for _, knots in fitted)


asked = json.load(sys.stdin)
answers = [
    [
        {"name": name, "ms": ms, "nodes": nodes, "loops": [numpy.round(loop, 5).tolist() for loop in loops]}
        for name, ms, loops, nodes in methods(picture, asked["runs"])
    ]
    for picture in asked["pictures"]
]
json.dump(answers, sys.stdout)
