"""What a maker would say of the built-in instruments' hardware: it fits on, into and past each other."""

import numpy as np
import pytest

from mockup.outline.cut import contains, overlap, without
from mockup.outline.distance import exact_distance
from mockup.outline.figures import circle
from mockup.outline.head import CLEAR
from mockup.outline.shape import ring_area
from mockup.scene.load import load_scene
from mockup.scene.places import builtin_scenes
from mockup.scene.values import Fitting

SPARE = 12.0  # mm: half a pot's body, or what is left of a rim (common practice)


def pieces(scene, part):
    return [f for f in scene.fittings if f.part == part]


def middles(shape):
    return [tuple((ring.min(axis=0) + ring.max(axis=0)) / 2) for ring in shape.rings if ring_area(ring) > 0]


def inside_by(shape, points):
    """mm from points within a shape to its edge."""
    found = exact_distance(shape, np.array(points, float), 60.0)[0]
    assert all(contains(shape, p) for p in points)
    return np.abs(found).min()


@pytest.mark.parametrize("name", sorted(builtin_scenes()))
def test_covers_lie_over_the_controls_and_within_the_body(name):
    scene = load_scene(name)
    covers, body = pieces(scene, "cover"), next(p for p in scene.parts if p.name == "body")
    controls = [m for part in ("knobs", "switch") for f in pieces(scene, part)[:1] for m in middles(f.shape)]
    assert bool(covers) == bool(controls)
    if not covers:
        return
    cover = covers[0].shape
    assert inside_by(cover, controls) >= SPARE
    whole = body.whole or body.shape
    assert inside_by(whole, cover.rings[0]) >= SPARE
    hollow = pieces(scene, "cavity")[0].shape
    assert without(hollow, [cover]) is None
    # It leaves the pickups and the bridge their wood.
    assert all(overlap(cover, f.shape) is None for part in ("pickup", "neck-pickup", "bridge-pickup", "bridge") for f in pieces(scene, part))


@pytest.mark.parametrize("name", ["bittern", "dunlin", "tern"])
def test_strings_pass_the_posts_of_others(name):
    """Each string keeps 2 mm of air to the post, its nut and the coil of any other."""
    scene = load_scene(name)
    strings = pieces(scene, "strings")
    coils, runs = middles(strings[0].shape), [r for f in strings[1:] for r in f.rods]
    tops = sorted({round(min(r[1], r[3]), 3) for r in runs})
    to_posts = [r for r in runs if min(np.hypot(r[0] - x, r[1] - y) for x, y in coils) < 3.0]
    assert len(to_posts) == len(coils) >= 4 and tops
    for x0, y0, x1, y1, radius in to_posts:
        a, run = np.array([x0, y0]), np.array([x1 - x0, y1 - y0])
        own = min(coils, key=lambda c: np.hypot(c[0] - x0, c[1] - y0))
        for post in coils:
            if post == own:
                continue
            t = np.clip(np.dot(np.array(post) - a, run) / np.dot(run, run), 0, 1)
            far = np.hypot(*(a + t * run - post))
            assert far - radius - 3.9 >= 2.0 and far >= CLEAR - 1e-6, (post, far)


@pytest.mark.parametrize("name", ["bittern", "dunlin", "tern"])
def test_tuner_housings_lie_on_the_head(name):
    scene = load_scene(name)
    below = [p.shape for p in scene.parts if p.side == "both"]
    cases = [f for f in pieces(scene, "tuners") if f.side == "back"][1]  # its shafts, its cases, their screws
    assert without(cases.shape, below) is None


def test_the_neck_screws_go_into_the_neck():
    for name in ("tern", "dunlin", "heron"):
        scene = load_scene(name)
        neck, body = (next(p for p in scene.parts if p.name == n) for n in ("neck", "body"))
        rings = pieces(scene, "ferrules")[0]
        assert isinstance(rings, Fitting) and rings.side == "back" and len(middles(rings.shape)) == 4
        for p in middles(rings.shape):
            assert inside_by(neck.whole or neck.shape, [p]) > 6.0 and inside_by(body.whole or body.shape, [p]) > 10.0
        heel = next((p for p in scene.parts if p.name == "heel"), None)
        if heel is None:  # the neck of the bass runs into its body as it is
            assert name == "heron"
            continue
        assert overlap(heel.shape, body.whole or body.shape) is None  # the body covers the rest of it
        assert without(heel.shape, [circle((0.0, (heel.shape.bounds[1] + heel.shape.bounds[3]) / 2), 200.0)]) is None
        assert heel.below < neck.below


def test_a_scarf_runs_from_side_to_side_and_another_piece_begins_there():
    scene = load_scene("dunlin")
    neck, head = (next(p for p in scene.parts if p.name == n) for n in ("neck", "head-piece"))
    line = pieces(scene, "scarf")[0].shape
    x0, y0, x1, y1 = line.bounds
    from mockup.outline.cut import width_at
    for side in (0, 1):
        ends = width_at(neck.shape, y1 - 0.5)
        assert abs((x0, x1)[side] - ends[side]) < 0.6
    assert head.placement.at != neck.placement.at
    assert abs(head.shape.bounds[3] - y1) < 0.5


def test_a_lap_steel_is_square():
    scene = load_scene("bittern")
    bar = next(f for f in pieces(scene, "bridge") if f.rods)
    assert bar.rods[0][1] == bar.rods[0][3]
    holes = pieces(scene, "bridge")[1]
    assert np.ptp([y for _, y in middles(holes.shape)]) < 1e-9


def test_white_trim_beside_blue():
    scene = load_scene("tern").with_variant("sea-blue")
    trim = {p.binding.lab for p in scene.parts if p.binding} | {f.material.lab for f in scene.fittings if f.material.name == "plastic"}
    assert len(trim) == 1
