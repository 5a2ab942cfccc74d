"""Drawings: units, frames, transforms, fill rules; and what is refused, in which words."""

import math
import re

import numpy as np
import pytest
from numpy.testing import assert_allclose

from mockup.errors import MockupError
from mockup.outline.drawing import outline_from_svg, outline_ids, read_outline

MM = 'width="400mm" height="300mm" viewBox="0 0 400 300"'


def svg(body, attributes=MM):
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
        'xmlns:inkscape="http://www.inkscape.org/namespaces/inkscape" '
        f"{attributes}>{body}</svg>"
    ).encode()


def read(body, attributes=MM, id="a"):
    return outline_from_svg(svg(body, attributes), id, where="part.svg")


def refusal(body, attributes=MM, id="a"):
    with pytest.raises(MockupError) as caught:
        read(body, attributes, id)
    text = str(caught.value)
    assert text.startswith(f"part.svg#{id}: ") and "\n" not in text
    assert len(caught.value.problems) == 1 and caught.value.problems[0].fix
    return text


# --- units and frames -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("width", "mm"),
    [("96", 25.4), ("96px", 25.4), ("100mm", 100), ("10cm", 100), ("2in", 50.8), ("72pt", 25.4), ("6pc", 25.4),
     ("40Q", 10), ("1e2mm", 100)],
)  # fmt: skip
def test_units_of_the_drawing(width, mm):
    """CSS Values and Units 4, 6.2: one inch is 96 px, 72 pt, 6 pc, 25.4 mm; 40 Q are 10 mm."""
    shape = read('<rect id="a" width="10" height="10"/>', f'width="{width}" height="{width}" viewBox="0 0 10 10"')
    assert_allclose(shape.bounds, (0, 0, mm, mm), atol=1e-6, rtol=0)


def test_units_of_a_shape():
    shape = read('<rect id="a" x="1cm" y="2mm" width="1in" height="3pt"/>', 'width="500" height="500"')
    assert_allclose(shape.bounds, (10, 2, 35.4, 2 + 25.4 / 24), atol=1e-6)


def test_the_drawings_own_origin_stays():
    """A centre line at x = 0 is at x = 0 wherever the page begins."""
    shape = read('<rect id="a" x="-20" y="5" width="40" height="10"/>',
                 'width="400mm" height="300mm" viewBox="-200 -10 400 300"')  # fmt: skip
    assert_allclose(shape.bounds, (-20, 5, 20, 15), atol=1e-6)


@pytest.mark.parametrize(
    ("aspect", "x", "y"),
    [("", 2, 2), ("xMidYMid meet", 2, 2), ("xMaxYMin", 2, 2), ("xMinYMax slice", 4, 4), ("none", 4, 2)],
)
def test_preserve_aspect_ratio_sets_the_scale(aspect, x, y):
    """SVG 2, 8.7: meet takes the smaller scale, slice the larger, none each its own."""
    given = f'preserveAspectRatio="{aspect}"' if aspect else ""
    shape = read('<rect id="a" x="10" y="10" width="10" height="10"/>',
                 f'width="400mm" height="200mm" viewBox="0 0 100 100" {given}')  # fmt: skip
    assert_allclose(shape.bounds, (10 * x, 10 * y, 20 * x, 20 * y), atol=1e-6)


def test_nested_transforms_against_matrices():
    body = (
        '<g transform="translate(10, 20) rotate(30)"><g transform="skewX(20)scale(2 -3)">'
        '<path id="a" transform="matrix(1 .2 -.3 .9 4 5) rotate(-40 7 8)" d="m1 2 h10 v10 l-5 3z"/></g></g>'
    )

    def turn(degrees):
        c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
        return np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])

    def shift(x, y):
        return np.array([[1, 0, x], [0, 1, y], [0, 0, 1]])

    skew = np.array([[1, math.tan(math.radians(20)), 0], [0, 1, 0], [0, 0, 1]])
    own = np.array([[1, -0.3, 4], [0.2, 0.9, 5], [0, 0, 1]])
    m = shift(10, 20) @ turn(30) @ skew @ np.diag([2, -3, 1]) @ own @ shift(7, 8) @ turn(-40) @ shift(-7, -8)
    corners = np.array([[1, 2, 1], [11, 2, 1], [11, 12, 1], [6, 15, 1]]) @ m.T
    found = read(body).rings[0]
    for corner in corners[:, :2]:
        assert np.hypot(*(found - corner).T).min() < 1e-6


def test_a_skewed_arc_is_the_skewed_ellipse():
    """The area of a transformed ellipse is π a b times the determinant, its points those of the matrix."""
    shape = read('<ellipse id="a" cx="100" cy="90" rx="50" ry="20" transform="skewX(35) rotate(10) scale(1.5 .7)"/>')
    assert_allclose(shape.area, math.pi * 1000 * 1.05, rtol=1e-6)


@pytest.mark.parametrize(
    ("shape", "area"),
    [
        ('<circle id="a" cx="50" cy="50" r="40"/>', math.pi * 1600),
        ('<ellipse id="a" cx="90" cy="50" rx="80" ry="40"/>', math.pi * 3200),
        ('<rect id="a" width="100" height="50" rx="10"/>', 5000 - (4 - math.pi) * 100),
        ('<rect id="a" width="100" height="50" rx="20" ry="10"/>', 5000 - (4 - math.pi) * 200),
        ('<polygon id="a" points="0,0 10,0 10,10 0 10"/>', 100),
        ('<polyline id="a" points="0,0 10,0 10,10 0 10 0 0"/>', 100),
        ('<path id="a" d="M0 0h10v10H0z"/>', 100),
        ('<path id="a" d="m5 5l10.5.5.5 10-11-1.z"/>', 104.625),
        ('<path id="a" d="M0 0a10,10 0 0120 0 10 10 0 1 1-20 0z"/>', math.pi * 100),
        ('<path id="a" d="M0 0A1 1 0 0 1 40 0z"/>', math.pi * 200),
        ('<path id="a" d="M0 0A0 5 0 0 1 10 0V10H0z"/>', 100),
        ('<path id="a" d="M0 0Q10 20 20 0z"/>', 400 / 3),
        ('<path id="a" d="M0 0q10 20 20 0t20 0V-50H0z"/>', 2000),
        ('<path id="a" d="M0 0C0 10 20 10 20 0S40-10 40 0V-50H0z"/>', 2000),
    ],
)
def test_shapes_and_commands(shape, area):
    """Areas in closed form: circles, ellipses, parabola segments (2/3 of base times height)."""
    assert_allclose(read(shape).area, area, rtol=2e-6)


# --- fill rules ------------------------------------------------------------------------------------

OUTER = "M0 0h100v100h-100z"


@pytest.mark.parametrize("how", [
    '<path id="a" fill-rule="{rule}" d="{d}"/>',
    '<path id="a" style="fill:none; fill-rule:{rule}" d="{d}"/>',
    '<g fill-rule="{rule}"><path id="a" d="{d}"/></g>',
    '<style>/* x */ .k {{fill:red; fill-rule:{rule}}} .m{{}}</style><path id="a" class="j k" d="{d}"/>',
    '<style>#a {{fill-rule: {rule};}}</style><path id="a" d="{d}"/>',
])  # fmt: skip
@pytest.mark.parametrize(
    ("rule", "hole", "rings", "area"),
    [
        ("evenodd", "M10 10h20v20h-20z", 2, 9600),
        ("nonzero", "M10 10h20v20h-20z", 1, 10_000),
        ("evenodd", "M10 10v20h20v-20z", 2, 9600),
        ("nonzero", "M10 10v20h20v-20z", 2, 9600),
        ("evenodd", "M10 10h40v40h-40z M20 20h10v10h-10z", 3, 10_000 - 1600 + 100),
        ("nonzero", "M10 10v40h40v-40z M20 20h10v10h-10z", 3, 10_000 - 1600 + 100),
        ("nonzero", "M10 10v40h40v-40z M20 20v10h10v-10z", 3, 10_000 - 1600 + 100),
        ("nonzero", "M200 0h10v10h-10z", 2, 10_100),
    ],
)
def test_holes_by_the_fill_rule(how, rule, hole, rings, area):
    """SVG 2, 13.4.2; a winding of -1 is inside too."""
    shape = read(how.format(rule=rule, d=OUTER + hole))
    assert len(shape.rings) == rings
    assert_allclose(shape.area, area, rtol=1e-9)


# --- finding the shape -----------------------------------------------------------------------------


def test_reused_shapes_move_with_their_use():
    body = '<defs><path id="b" d="M0 0h10v10h-10z"/></defs><g transform="scale(2)"><use id="a" {}="#b" x="5" y="1"/></g>'
    for href in ("href", "xlink:href"):
        assert_allclose(read(body.format(href)).bounds, (10, 2, 30, 22), atol=1e-9)


def test_a_group_of_one_shape_is_that_shape():
    shape = read('<g id="a" transform="scale(2)"><g transform="translate(3)"><rect width="5" height="5"/></g></g>')
    assert_allclose(shape.bounds, (6, 0, 16, 10), atol=1e-9)


def test_ids_are_those_of_outlines(tmp_path):
    file = tmp_path / "body.svg"
    file.write_bytes(svg('<g id="layer"><path id="body" d="M0 0h9v9z"/><circle id="hole" r="3"/></g><text id="t"/>'))
    assert outline_ids(file) == ("body", "hole")
    assert read_outline(file, "body").area == pytest.approx(40.5)
    with pytest.raises(MockupError, match=re.escape('body.svg#bdoy: No outline has the id "bdoy". Did you mean "body"?')):
        read_outline(file, "bdoy")


def test_a_hidden_shape_is_an_outline_still():
    assert read('<g style="display:none"><rect id="a" width="5" height="5" display="none"/></g>').area == pytest.approx(25)


def test_the_public_doctype_is_harmless():
    data = b'<?xml version="1.0"?><!DOCTYPE svg PUBLIC "-//W3C//DTD SVG 1.1//EN" "http://localhost:1/svg11.dtd">'
    assert outline_from_svg(data + svg('<rect id="a" width="5" height="5"/>'), "a").area == pytest.approx(25)


# --- refusals --------------------------------------------------------------------------------------


def test_an_open_outline_says_where():
    text = refusal('<path id="a" d="M20 10h100v100h-100v-60"/>')
    assert "open: 40.00 mm are missing from x 20.00, y 50.00 to x 20.00, y 10.00 mm" in text


def test_a_hairline_gap_is_closed():
    assert read('<path id="a" d="M0 0h100v100h-100v-99.96"/>').area == pytest.approx(10_000, abs=3)
    assert "0.06 mm" in refusal('<path id="a" d="M0 0h100v100h-100v-99.94"/>')


def test_a_self_crossing_outline_says_where():
    assert "crosses itself at x 50.00, y 25.00 mm" in refusal('<path id="a" d="M0 0L100 50V0L0 50z"/>')


def test_a_curve_that_crosses_itself_says_where():
    """The loop of x = t³ - t, y = t² (a cubic) crosses itself where t = ±1: at (0, 1)."""
    # x = t³ - t, y = t² over -1.25 … 1.25 as a Bézier, by blossoming; scaled by 40 and moved to (200, 0).
    t0, t1 = -1.25, 1.25

    def blossom(a, b, c):
        return 200 + 40 * (a * b * c - (a + b + c) / 3), 40 * (a * b + b * c + c * a) / 3

    p = [blossom(t0, t0, t0), blossom(t0, t0, t1), blossom(t0, t1, t1), blossom(t1, t1, t1)]
    d = "M{} {}C{} {} {} {} {} {}V200H{}z".format(*p[0], *p[1], *p[2], *p[3], p[0][0])
    assert "crosses itself at x 200.00, y 40.00 mm" in refusal(f'<path id="a" d="{d}"/>')


def test_curves_that_cross_or_touch_say_where():
    assert "meet at x 100.00, y" in refusal(f'<path id="a" d="{OUTER}M50 50h100v20h-100z"/>')
    assert "meet at x 0.00, y" in refusal(f'<path id="a" d="{OUTER}M0 50l20-10v20z"/>')


@pytest.mark.parametrize(
    ("body", "attributes", "words"),
    [
        ('<path id="a" d=""/>', MM, "The outline is empty."),
        ('<path id="a"/>', MM, "The outline is empty."),
        ('<path id="a" d="M3 3"/>', MM, "The outline is empty."),
        ('<circle id="a" r="0"/>', MM, "The outline is empty."),
        ('<path id="a" d="M0 0h10z"/>', MM, "encloses no area, around x 5.00, y 0.00 mm"),
        ('<path id="a" d="M0 0h10v1e-9h-10z"/>', MM, "encloses no area"),
        ('<path id="a" d="M0 0 NaN 10 L10 0z"/>', MM, 'The path has "NaN" where a command'),
        ('<path id="a" d="M0 0 L10 ten z"/>', MM, 'The path has "ten" where a number should be (character 10)'),
        ('<path id="a" d="M0 0 L10 10 5z"/>', MM, 'The path has "z" where a number'),
        ('<path id="a" d="M0 0 C1 2 3"/>', MM, "The path breaks off where a number should follow."),
        ('<path id="a" d="L0 0 5 5 5 0z"/>', MM, 'The path has "L0" where a command'),
        ('<path id="a" d="M0 0a5 5 0 2 0 3 3z"/>', MM, 'The path has "2" where a number'),
        ('<path id="a" d="M0 0L1e999 0 0 9z"/>', MM, "a coordinate that is not a number"),
        ('<path id="a" d="M0 0L1e200 0 0 1e200z" transform="scale(1e200)"/>', MM, "not a number"),
        ('<circle id="a" r="1e6"/>', MM, "The outline reaches 1000 m from the drawing's origin; 20 m is the most."),
        ('<circle id="a" r="-3"/>', MM, 'The r of the circle is "-3".'),
        ('<circle id="a" r="nan"/>', MM, 'The r of the circle is "nan".'),
        ('<circle id="a" r="50%"/>', MM, 'The r of the circle is "50%".'),
        ('<path id="a" d="M0 0h9v9z" transform="scale(0)"/>', MM, "flattens the outline to nothing"),
        ('<circle id="a" r="5" transform="rotate(1,2)"/>', MM, 'The transform "rotate(1,2)" cannot be read.'),
        ('<circle id="a" r="5" transform="spin(3)"/>', MM, 'The transform "spin(3)" cannot be read.'),
        ('<circle id="a" r="5" style="transform-origin: 3px 3px"/>', MM, "has a transform-origin"),
        ('<style>circle{transform:scale(2)}</style><circle id="a" r="5"/>', MM, "A style sheet moves shapes about."),
        ('<polygon id="a" points="0,0 5,5 x"/>', MM, 'The list of points has "x"'),
        ('<polygon id="a" points="0,0 5,5 5"/>', MM, "ends with half a point"),
        ('<text id="a">hello</text>', MM, "This id names text, which has no outline. Convert it to a path."),
        ('<image id="a" href="file:///etc/hosts"/>', MM, "This id names a picture, which has no outline."),
        ('<line id="a" x2="5"/>', MM, "This id names a single line"),
        ('<g id="a"><circle r="3"/><circle r="5"/></g>', MM, "This id names a group of 2 shapes."),
        ('<circle id="a" r="5"/><g><path id="a"/></g>', MM, '2 elements have the id "a".'),
        ('<circle id="b" r="5"/>', MM, 'No outline has the id "a". Use one of: b.'),
        ('<path id="p7" inkscape:label="a" d="M0 0h9v9z"/>', MM, 'The shape labelled "a" has the id "p7".'),
        ('<use id="a" href="http://localhost:1/x.svg#b"/>', MM, "outside the drawing"),
        ('<use id="a" href="file:///etc/hosts"/>', MM, "outside the drawing"),
        ('<use id="a" href="#a"/>', MM, "The outline refers to itself."),
        ('<use id="a" href="#b"/><use id="b" href="#a"/>', MM, "The outline refers to itself."),
        ('<svg><circle id="a" r="5"/></svg>', MM, "The outline lies inside a <svg>."),
        ('<circle id="a" r="5"/>', 'viewBox="0 0 9 9"', "The width of the drawing is missing, so its scale is not known."
         ' Give the drawing its size: width="400mm" height="500mm" viewBox="0 0 400 500".'),
        ('<circle id="a" r="5"/>', 'width="9mm" height="100%"', 'The height of the drawing is "100%"'),
        ('<circle id="a" r="5"/>', 'width="9em" height="9mm"', 'The width of the drawing is "9em".'),
        ('<circle id="a" r="5"/>', 'width="-9mm" height="9mm"', 'The width of the drawing is "-9mm".'),
        ('<circle id="a" r="5"/>', 'width="9mm" height="9mm" viewBox="0 0 0 9"', 'The viewBox is "0 0 0 9".'),
        ('<circle id="a" r="5"/>', MM + ' preserveAspectRatio="big"', 'preserveAspectRatio is "big".'),
        ("<g>" * 300 + '<circle id="a" r="5"/>' + "</g>" * 300, MM, "nests groups more than 200 deep"),
    ],
)  # fmt: skip
def test_what_cannot_be_an_outline_is_refused(body, attributes, words):
    assert words in refusal(body, attributes)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "The drawing is empty."),
        (b"GIF89a", "This is not a readable SVG file: its XML breaks in line 1."),
        (b"\x1f\x8b\x08\x00", "This is a compressed drawing (SVGZ)."),
        (b"<html/>", "This is not an SVG drawing: its first element is <html>."),
        (b'<!DOCTYPE svg [<!ENTITY a "b">]>' + svg('<circle id="a" r="5"/>'), "declares entities of its own"),
        (b'<!DOCTYPE svg [<!ENTITY x SYSTEM "file:///etc/hosts">]>' + svg("<g>&x;</g>"), "declares entities"),
        (b'<?xml-stylesheet href="http://localhost:1/a.css"?>' + svg('<circle id="a" r="5"/>'), "outside the file"),
        (b'<?xml version="1.0" encoding="nonsense"?>' + svg(""), "This is not a readable SVG file"),
        (svg("<g/>" * 200_001), "more than 200000 elements"),
    ],
)  # fmt: skip
def test_files_that_are_no_drawings_are_refused(data, words):
    with pytest.raises(MockupError) as caught:
        outline_from_svg(data, "a")
    assert words in str(caught.value)


def test_too_many_points_are_refused_before_memory_is_spent():
    million = "M0 0L" + " ".join(f"{i % 400} {i % 7}" for i in range(1_000_000))
    assert "more than 200000 points" in refusal(f'<path id="a" d="{million}"/>')
    big = " ".join(f"a9000 9000 0 0 1 {9000 if i % 2 else -9000} 0" for i in range(40))
    assert "more than 200000 points" in refusal(f'<path id="a" d="M9000 0 {big}"/>')
    rings = "".join(f"M{i % 60 * 5} {i // 60 * 5}h3v3h-3z" for i in range(2001))
    assert "2001 separate curves; 2000 is the most" in refusal(f'<path id="a" d="{rings}"/>')


def test_files_too_large_or_missing_are_refused(tmp_path):
    file = tmp_path / "big.svg"
    file.write_bytes(b" " * 8_000_001)
    with pytest.raises(MockupError):
        read_outline(file, "a")
    with pytest.raises(MockupError):
        read_outline(tmp_path / "none.svg", "a")
    with pytest.raises(MockupError):
        outline_ids(tmp_path)
