"""The distance to the edge and the way in, against circles, squares and shapely."""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from mockup.outline.distance import edge_field, edge_strip
from mockup.outline.shape import Shape


def circle(cx, cy, r, *, hole=False):
    n = math.ceil(math.pi / math.acos(1 - 1e-5 / r))
    t = np.linspace(0, 2 * np.pi, n, endpoint=False)
    points = np.column_stack((cx + r * np.cos(t), cy + r * np.sin(t)))
    return points if hole else points[::-1]


def centres(origin, px_per_mm, size):
    x = origin[0] + (np.arange(size[0]) + 0.5) / px_per_mm
    y = origin[1] + (np.arange(size[1]) + 0.5) / px_per_mm
    return x[None, :], y[:, None]


@pytest.mark.parametrize(
    ("big", "small", "scale", "reach"),
    [(80, 20, 2.3, 90), (80, 20, 5.0, 10), (60, 5, 3.1, 30), (40, 1, 7.3, 12), (80, 20, 0.7, 30), (70, 2, 1.9, 5)],
)
def test_annulus(big, small, scale, reach):
    """The distance in an annulus is the lesser of R - ρ and ρ - r; the way in is radial."""
    origin, middle = (0.13, -0.31), (90.0, 85.0)
    size = round(180 * scale), round(175 * scale)
    shape = Shape((circle(*middle, big), circle(*middle, small, hole=True)))
    distance, inward = edge_field(shape, origin=origin, px_per_mm=scale, size=size, reach=reach)
    assert distance.dtype == inward.dtype == np.float32 and inward.shape == (*distance.shape, 2)

    x, y = centres(origin, scale, size)
    x, y = x - middle[0], y - middle[1]
    rho = np.hypot(x, y)
    true = np.minimum(big - rho, rho - small)
    assert_allclose(distance, np.clip(true, -reach, reach), atol=0.01)

    seen = (np.abs(true) < reach - 0.02) & (np.abs(big + small - 2 * rho) > 0.05) & (rho > 0.2)
    way = np.where(big - rho < rho - small, -1.0, 1.0) / np.maximum(rho, 1e-9)
    cosine = inward[..., 0] * x * way + inward[..., 1] * y * way
    assert_allclose(np.hypot(inward[..., 0], inward[..., 1])[seen], 1, atol=1e-5)
    off = np.degrees(np.arccos(np.clip(cosine[seen], -1, 1)))
    assert off.max() < 1.5 and np.percentile(off, 99) < 0.25
    assert not inward[np.abs(true) > reach + 0.02].any()


def test_the_way_in_has_no_facets():
    """Along a roundover the direction turns evenly: no step larger than the circle's own turn and a little."""
    shape, scale = Shape((circle(60, 60, 50),)), 10.0
    distance, inward = edge_field(shape, origin=(0, 0), px_per_mm=scale, size=(1200, 1200), reach=6)
    angle = np.linspace(0.2, 1.3, 4000)  # a walk 3 mm inside the edge, 0.013 mm a step
    column, row = (60 + 47 * np.cos(angle)) * scale, (60 + 47 * np.sin(angle)) * scale
    way = inward[row.astype(int), column.astype(int)]
    true = np.arctan2(row.astype(int) + 0.5 - 600, column.astype(int) + 0.5 - 600)
    error = np.arctan2(-way[:, 1], -way[:, 0]) - true
    assert np.degrees(np.abs(error)).max() < 0.1


def test_corners_stay_corners():
    """In a square the way in is along an axis right up to the diagonal; round an outer corner it fans."""
    square = Shape((np.array([[20, 20], [20, 80], [80, 80], [80, 20]], float),))
    scale, size = 4.0, (400, 400)
    distance, inward = edge_field(square, origin=(0, 0), px_per_mm=scale, size=size, reach=15)
    x, y = centres((0, 0), scale, size)
    dx, dy = np.maximum(20 - x, x - 80), np.maximum(20 - y, y - 80)
    outside = np.hypot(np.maximum(dx, 0), np.maximum(dy, 0))
    true = np.where(np.maximum(dx, dy) < 0, -np.maximum(dx, dy), -outside)
    assert_allclose(distance, np.clip(true, -15, 15), atol=0.01)

    inside = (true > 0) & (true < 14.9) & (np.abs(dx - dy) > 0.3)
    assert_allclose(np.abs(inward[inside]).max(axis=1), 1, atol=1e-4)
    fan = (dx > 0.5) & (dy > 0.5) & (true > -14.9)
    out = np.stack(np.broadcast_arrays(np.where(x < 50, dx, -dx), np.where(y < 50, dy, -dy)), -1)[fan]
    assert_allclose(inward[fan], out / np.hypot(*out.T)[:, None], atol=0.02)


def wavy():
    t = np.linspace(0, 2 * np.pi, 11000, endpoint=False)
    r = 75 + 12 * np.cos(2 * t) + 7 * np.cos(3 * t) + 4 * np.cos(9 * t)
    hole = np.column_stack((115 + 5 * np.cos(t), 95 + 15 * np.sin(t)))
    return Shape((np.column_stack((100 + r * np.cos(t), 100 + r * np.sin(t)))[::-1], hole))


STAR = Shape(
    (np.array([[100 + r * math.cos(-i * math.pi / 5), 100 + r * math.sin(-i * math.pi / 5)]
               for i, r in enumerate([90, 30] * 5)]),)
)  # fmt: skip


@pytest.mark.parametrize(("scale", "reach"), [(4.5, 9), (2.2, 90), (1.0, 25)])
@pytest.mark.parametrize("shape", [wavy(), STAR], ids=["wavy", "star"])
def test_against_shapely(shape, scale, reach):
    """Many pixels of shapes with waves, points and a hole against shapely's exact distance."""
    import shapely

    size = round(200 * scale), round(200 * scale)
    distance, _ = edge_field(shape, origin=(0, 0), px_per_mm=scale, size=size, reach=reach)
    picked = np.random.default_rng(7).integers(0, size[0], (6000, 2))
    points = shapely.points((picked[:, ::-1] + 0.5) / scale)
    region = shapely.Polygon(shape.rings[0], shape.rings[1:])
    edge = region.boundary
    shapely.prepare(region)
    shapely.prepare(edge)
    true = shapely.distance(edge, points) * np.where(shapely.contains(region, points), 1, -1)
    assert_allclose(distance[picked[:, 0], picked[:, 1]], np.clip(true, -reach, reach), atol=0.01)


@pytest.mark.parametrize("turned", [False, True])
def test_a_shallow_ridge_half_way_between_nodes(turned):
    """Under a blunt ridge the nodes on both sides agree with each other, and yet it is no bend."""
    scale, reach = 3.0, 70.0
    ridge = 16 * 3.0  # between two nodes of the coarser lattice (blocks of 3 × 3 pixels of 1/3 mm)
    roof = np.array([[-200, 40], [-200, 200], [300, 200], [300, 40], [ridge, 5]], float)
    if turned:
        roof = roof[::-1, ::-1]
    distance, _ = edge_field(Shape((roof,)), origin=(0, 0), px_per_mm=scale, size=(300, 300), reach=reach)
    x, y = centres((0, 0), scale, (300, 300))
    x, y = (y, x) if turned else (x, y)
    left, right = math.hypot(ridge + 200, 35), math.hypot(300 - ridge, 35)
    to_left = ((y - 40) * (ridge + 200) + 35 * (x + 200)) / left
    to_right = ((y - 40) * (300 - ridge) + 35 * (300 - x)) / right
    true = np.minimum(to_left, to_right)
    seen = np.broadcast_to(true > 0, distance.shape)
    assert_allclose(distance[seen], np.minimum(true, reach)[seen], atol=0.01)


def test_bands_agree_with_the_whole():
    place = dict(origin=(-3.3, 7.7), px_per_mm=2.9, size=(431, 377), reach=20)
    whole = edge_field(wavy(), **place)
    bands = [edge_field(wavy(), rows=(r, min(r + 50, 377)), **place) for r in range(0, 377, 50)]
    assert_allclose(np.concatenate([b[0] for b in bands]), whole[0], atol=0.005)


def test_the_sign_is_right_beyond_reach():
    shape = Shape((circle(100, 100, 90),))
    distance, inward = edge_field(shape, origin=(0, 0), px_per_mm=1.5, size=(300, 300), reach=4)
    assert distance[150, 150] == 4 and distance[2, 2] == -4
    assert not inward[150, 150].any()
    empty, _ = edge_field(shape, origin=(0, 0), px_per_mm=1.5, size=(0, 5), reach=4)
    assert empty.shape == (5, 0)


@pytest.mark.parametrize("scale", [0.9, 3.5, 7.0])
def test_a_strip_along_the_edge_is_that_of_the_field(scale):
    shape = wavy()
    x0, y0, x1, y1 = shape.bounds
    place = {"origin": (x0 - 4, y0 - 4), "px_per_mm": scale, "size": (int((x1 - x0 + 8) * scale), int((y1 - y0 + 8) * scale))}
    d, inward = edge_field(shape, reach=7, **place)
    rim, strip, way = edge_strip(shape, beyond=1.5, within=4.0, **place)
    whole = (d > -1.5) & (d < 4.0)
    got = np.zeros(d.shape, bool)
    got[rim] = True
    assert (whole != got).sum() <= 1e-4 * whole.sum()
    assert np.abs(d[rim] - strip).max() < 2e-3
    assert (inward[rim] * way).sum(axis=1).min() > 0.999
