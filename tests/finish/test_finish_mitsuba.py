"""The highlight against an independent physically based renderer (Mitsuba 3, roughplastic), where it is installed."""

import numpy as np
import pytest

from mockup.colour.difference import ciede2000
from mockup.colour.spaces import linear_to_lab
from mockup.finish.sheen import roughness
from mockup.render import light

BODY = np.array([0.50, 0.33, 0.16])  # varnished maple


def faces():
    """Unit normals (N, 3) of faces tilted up to 62 degrees every way, the flat one first."""
    tilt, turn = np.meshgrid(np.radians(np.linspace(0, 62, 9)), np.radians(np.arange(0, 360, 30)), indexing="ij")
    return np.stack([np.sin(tilt) * np.cos(turn), np.sin(tilt) * np.sin(turn), np.cos(tilt)], axis=-1).reshape(-1, 3)


def room(toward):
    """Radiance of the shop from directions (..., 3): the renderer's windows with sharp edges, its walls and bench."""
    sky = np.clip(toward[..., 2] / 0.35, 0, 1)
    sky = sky * sky * (3 - 2 * sky)
    x = toward[..., 0] * np.cos(light.SLANT) + toward[..., 1] * np.sin(light.SLANT)
    y = toward[..., 1] * np.cos(light.SLANT) - toward[..., 0] * np.sin(light.SLANT)
    level = light.BENCH + (light.ROOM - light.BENCH) * sky
    for cx, cy, hx, hy, bright in light.WINDOWS:
        level = level + bright * sky * ((np.abs(x - cx) < hx) & (np.abs(y - cy) < hy))
    return level


def mirrored(mi, normals, alpha, samples=600):
    """Light that a GGX film of n = 1.5 over black sends straight up, (N,), by sampling Mitsuba's own BSDF."""
    film = mi.load_dict({"type": "roughplastic", "distribution": "ggx", "alpha": float(alpha), "int_ior": 1.5, "ext_ior": 1.0,
                         "diffuse_reflectance": {"type": "rgb", "value": 0.0}})
    k = np.arange(samples) + 0.5  # an even sequence instead of random numbers
    u = np.stack([(k * c) % 1 for c in (0.6180339887, 0.7548776662, 0.5698402910)], axis=1).tolist()
    out = []
    for normal in normals:
        side = np.cross([1.0, 0, 0] if abs(normal[0]) < 0.9 else [0, 1.0, 0], normal)
        side /= np.linalg.norm(side)
        frame = np.stack([side, np.cross(normal, side), normal])
        at = mi.SurfaceInteraction3f()
        at.wi = mi.Vector3f(*(float(v) for v in frame[:, 2]))
        total = 0.0
        for a, b, c in u:
            sample, weight = film.sample(mi.BSDFContext(), at, a, mi.Point2f(b, c))
            if weight[0] > 0:
                total += weight[0] * float(room(np.array([sample.wo[0], sample.wo[1], sample.wo[2]]) @ frame))
        out.append(total / samples)
    return np.array(out)


# Three is what a client would miss; a lobe three times too wide or narrow already shows in these limits.
@pytest.mark.parametrize(("gloss", "limit"), [(5, 1.6), (25, 1.3), (80, 0.82)])
def test_highlight(gloss, limit):
    """95 % of faces well within CIEDE2000 3 of the reference, glare and body together."""
    mi = pytest.importorskip("mitsuba")
    mi.set_variant("scalar_rgb")
    normals = faces()[::2]
    body = light.diffuse(*normals.T)[:, None] * BODY
    nought = np.zeros(len(normals))
    ours, theirs = light.shine(*normals.T, nought, nought, gloss), mirrored(mi, normals, roughness(gloss))
    off = ciede2000(linear_to_lab(body + ours[:, None]), linear_to_lab(body + theirs[:, None]))
    assert np.percentile(off, 95) < limit
    assert theirs.max() > 4 * theirs.min()  # the reference sees the windows at all
    assert ours.mean() == pytest.approx(theirs.mean(), rel=0.25)
