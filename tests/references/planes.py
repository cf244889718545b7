"""Straightens places with OpenCV: a list of cases on standard input, a list of answers on standard output.

A case has "seen" places in pixels, "on" where they lie in millimetres, and "ask", places in pixels that are wanted in
millimetres. With exactly four of them the answer is that of getPerspectiveTransform, with more that of findHomography from
millimetres to pixels, whose least squares are those of the distances in the picture, finished by SciPy. A case with "lens" has the
"focal" length in pixels, the "middle" and the terms "k": the answer is then that of undistortPoints, in pixels.
"""

import json
import sys

import cv2
import numpy
import scipy.optimize

CLOSE = (cv2.TERM_CRITERIA_COUNT + cv2.TERM_CRITERIA_EPS, 200, 1e-14)


def polished(start, on, seen):
    """findHomography stops some millionths before the least sum of squares; SciPy goes on from there."""

    def left(factors):
        matrix = numpy.append(factors * start.ravel()[:8], start[2, 2]).reshape(3, 3)
        return (cv2.perspectiveTransform(on[:, None], matrix)[:, 0] - seen).ravel()

    factors = scipy.optimize.least_squares(left, numpy.ones(8), method="lm", xtol=1e-15, ftol=1e-15, gtol=1e-15).x
    return numpy.append(factors * start.ravel()[:8], start[2, 2]).reshape(3, 3)


def straightened(case):
    ask = numpy.array(case["ask"], dtype=float)[:, None]
    if "lens" in case:
        lens = case["lens"]
        (x, y), focal = lens["middle"], lens["focal"]
        camera = numpy.array([[focal, 0, x], [0, focal, y], [0, 0, 1]], dtype=float)
        terms = numpy.array([*lens["k"], 0, 0], dtype=float)
        return cv2.undistortPoints(ask, camera, terms, P=camera, criteria=CLOSE)[:, 0].tolist()
    seen, on = (numpy.array(case[key], dtype=float) for key in ("seen", "on"))
    if len(seen) == 4:
        matrix = cv2.getPerspectiveTransform(seen.astype(numpy.float32), on.astype(numpy.float32))
    else:
        matrix = numpy.linalg.inv(polished(cv2.findHomography(on, seen, 0)[0], on, seen))
    return cv2.perspectiveTransform(ask, matrix)[:, 0].tolist()


json.dump([straightened(case) for case in json.load(sys.stdin)], sys.stdout)
