"""Coverage against analytic areas, pixel by pixel and in total."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from mockup.outline.coverage import coverage
from mockup.outline.drawing import outline_from_svg
from mockup.outline.shape import Shape

PLACES = [(1.0, (0.0, 0.0)), (3.7, (-1.23, 0.457)), (11.81, (0.031, -2.9)), (0.37, (-40.0, -33.3))]


def svg(shape):
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="200mm" height="200mm" viewBox="0 0 200 200">{shape}</svg>'
    ).encode()


def whole(shape, scale, origin):
    """Coverage of all of a shape and the area it adds up to, mm²."""
    x1, y1 = shape.bounds[2:]
    size = math.ceil((x1 - origin[0]) * scale) + 2, math.ceil((y1 - origin[1]) * scale) + 2
    found = coverage(shape, origin=origin, px_per_mm=scale, size=size)
    assert found.dtype == np.float32 and found.min() >= 0 and found.max() <= 1
    return found, found.sum(dtype=np.float64) / scale**2


def bezier_area(*curves):
    """Area between cubic Béziers and the origin, by Green's theorem with the exact integral of x dy - y dx
    over a cubic (closed form worked out from Bernstein products, as in kurbo's ``signed_area``; from memory)."""
    total = 0.0
    for (x0, y0), (x1, y1), (x2, y2), (x3, y3) in curves:
        total += (
            x0 * (6 * y1 + 3 * y2 + y3) + 3 * (x1 * (-2 * y0 + y2 + y3) - x2 * (y0 + y1 - 2 * y3))
            - x3 * (y0 + 3 * y1 + 6 * y2)
        ) / 20.0  # fmt: skip
    return abs(total)


CUBICS = [
    ((20, 60), (30, -20), (120, 10), (150, 70)),
    ((150, 70), (180, 130), (90, 100), (80, 150)),
    ((80, 150), (60, 190), (5, 120), (20, 60)),
]
CUBIC_PATH = "M20 60" + "".join(f"C{b[0]} {b[1]} {c[0]} {c[1]} {d[0]} {d[1]}" for a, b, c, d in CUBICS) + "z"

ANALYTIC = {
    "circle": ('<circle id="a" cx="90" cy="80" r="70"/>', math.pi * 4900),
    "ellipse": ('<ellipse id="a" cx="90" cy="80" rx="85" ry="30" transform="rotate(25 90 80)"/>', math.pi * 85 * 30),
    "annulus": (
        '<path id="a" fill-rule="evenodd" d="M10 80a70 70 0 1 1 140 0a70 70 0 1 1-140 0z'
        'M50 80a30 30 0 1 0 60 0a30 30 0 1 0-60 0z"/>',
        math.pi * (4900 - 900),
    ),
    "cubic": (f'<path id="a" d="{CUBIC_PATH}"/>', bezier_area(*CUBICS)),
}


@pytest.mark.parametrize(("scale", "origin"), PLACES)
@pytest.mark.parametrize("name", ANALYTIC)
def test_total_is_the_analytic_area(name, scale, origin):
    drawn, area = ANALYTIC[name]
    _, found = whole(outline_from_svg(svg(drawn), "a"), scale, origin)
    assert_allclose(found, area, rtol=1e-6)


def strip_below_circle(r, x0, x1, y):
    """Area of the disc x² + y² <= r² within x0..x1 and above the line at height ``y`` (y up), exactly."""

    def integral(x):  # of sqrt(r² - x²)
        x = np.clip(x, -r, r)
        return 0.5 * (x * np.sqrt(np.maximum(r * r - x * x, 0)) + r * r * np.arcsin(x / r))

    def part(a, b, height):
        a, b = np.clip(a, -r, r), np.clip(b, -r, r)
        return np.where(b > a, integral(b) - integral(a) - height * (b - a), 0.0)

    if y >= r:
        return np.zeros_like(x0)
    if y <= -r:
        a, b = np.clip(x0, -r, r), np.clip(x1, -r, r)
        return 2 * (integral(b) - integral(a))
    reach = math.sqrt(r * r - y * y)
    above = part(np.clip(x0, -reach, reach), np.clip(x1, -reach, reach), y)
    if y >= 0:
        return above
    a, b = np.clip(x0, -r, r), np.clip(x1, -r, r)
    disc = 2 * (integral(b) - integral(a))
    return disc - part(np.clip(x0, -reach, reach), np.clip(x1, -reach, reach), -y)


def test_every_pixel_of_a_circle_is_exact():
    """Each pixel against the integral of the circle over it: well within 1/255."""
    r, scale, origin = 13.0, 1.7, (-14.1, -13.9)
    shape = outline_from_svg(svg(f'<circle id="a" r="{r}"/>'), "a")
    found, _ = whole(shape, scale, origin)
    h, w = found.shape
    x = origin[0] + np.arange(w + 1) / scale
    y = origin[1] + np.arange(h + 1) / scale
    above = np.array([strip_below_circle(r, x[:-1], x[1:], -v) for v in y])
    assert_allclose(found, (above[1:] - above[:-1]) * scale**2, atol=2e-4)


def test_bands_are_bit_for_bit_the_whole():
    shape = outline_from_svg(svg(ANALYTIC["annulus"][0]), "a").turned(11, (3, 4))
    place = dict(origin=(-3.3, 7.7), px_per_mm=2.9, size=(431, 377))
    bands = [coverage(shape, rows=(r, min(r + 50, 377)), **place) for r in range(0, 377, 50)]
    assert_array_equal(np.concatenate(bands), coverage(shape, **place))


def test_what_leaves_the_canvas_is_clipped():
    shape = outline_from_svg(svg(ANALYTIC["cubic"][0]), "a")
    scale = 4.0
    all_of_it = coverage(shape, origin=(-20, -20), px_per_mm=scale, size=(900, 900))
    for x, y, w, h in ((40, 30, 100, 130), (-15, 40, 90, 60), (60, -20, 60, 70), (60, 60, 7, 7), (170, 170, 9, 9)):
        part = coverage(shape, origin=(x, y), px_per_mm=scale, size=(w * 4, h * 4))
        r, c = (y + 20) * 4, (x + 20) * 4
        expected = np.zeros((h * 4, w * 4), np.float32)
        cut = all_of_it[r : r + h * 4, c : c + w * 4]
        expected[: cut.shape[0], : cut.shape[1]] = cut
        assert_allclose(part, expected, atol=1e-6)


def test_edges_on_pixel_lines_are_sharp():
    square = Shape((np.array([[2, 3], [2, 8], [7, 8], [7, 3]], float),))
    found = coverage(square, origin=(0, 0), px_per_mm=1, size=(10, 10))
    expected = np.zeros((10, 10))
    expected[3:8, 2:7] = 1
    assert_array_equal(found, expected)


def test_no_canvas_no_rows():
    square = Shape((np.array([[2, 3], [2, 8], [7, 8], [7, 3]], float),))
    assert coverage(square, origin=(0, 0), px_per_mm=1, size=(0, 10)).shape == (10, 0)
    assert coverage(square, origin=(0, 0), px_per_mm=1, size=(9, 10), rows=(4, 4)).shape == (0, 9)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    st.lists(st.floats(1, 30), min_size=3, max_size=12), st.floats(0.2, 9), st.floats(-35, 35), st.floats(-35, 35)
)
def test_total_is_the_polygon_area_anywhere(radii, scale, x, y):
    """Any star-shaped polygon, clipped or not, against shapely's exact intersection with the canvas."""
    import shapely

    t = -2 * np.pi * np.arange(len(radii)) / len(radii)
    points = np.column_stack((radii * np.cos(t), radii * np.sin(t)))
    size = (23, 31)
    found = coverage(Shape((points,)), origin=(x, y), px_per_mm=scale, size=size).sum(dtype=np.float64)
    canvas = shapely.box(x, y, x + size[0] / scale, y + size[1] / scale)
    assert_allclose(found, shapely.Polygon(points).intersection(canvas).area * scale**2, atol=1e-4)
