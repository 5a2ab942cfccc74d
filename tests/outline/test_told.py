"""What was done to a drawing is told, what cannot be followed is refused, and a drawing of many lines takes no longer than one of few."""

from __future__ import annotations

import io
import math
import time

import ezdxf
import numpy as np
import pytest

from mockup.errors import MockupError
from mockup.outline.drawing import outline_ids, read_noted
from mockup.outline.dxf import outline_from_dxf

L = {"layer": "BODY"}
BOX = [(0, 0), (80, 0), (80, -50), (0, -50)]


def dxf(draw, units: int = 4) -> bytes:
    document = ezdxf.new("R2010")
    document.header["$INSUNITS"] = units
    draw(document.modelspace())
    text = io.StringIO()
    document.write(text)
    return text.getvalue().encode()


def lines(space, points) -> None:
    for a, b in zip(points, points[1:], strict=False):
        space.add_line(a, b, dxfattribs=L)


def svg(tmp_path, body: str, size: str = 'width="100mm" height="60mm" viewBox="0 0 100 60"'):
    file = tmp_path / "a.svg"
    file.write_text(f'<svg xmlns="http://www.w3.org/2000/svg" {size}>{body}</svg>')
    return file


@pytest.mark.parametrize(("d", "notes"), [
    ("M 0 0 H 80 V 50 H 0 Z", ()),
    ("M 0 0 H 80 V 50 H 0 V 0", ()),
    ("M 0 0 H 80 V 50 H 0 V 0.04", ("a gap of 0.04 mm is closed",)),
    ("M 0 0 H 80 V 50 H 0 V 0.03 M 10 10 H 20 V 20 H 10 V 10.045", ("a gap of 0.045 mm is closed",)),
])
def test_a_gap_that_is_closed_is_told(tmp_path, d, notes):
    shape, told = read_noted(svg(tmp_path, f'<path id="b" fill-rule="evenodd" d="{d}"/>'), "b")
    assert told == notes and shape.area == pytest.approx(4000 - 100 * d.count("M 10"), abs=0.5)


def test_cuts_that_are_not_followed_and_a_size_without_a_unit_are_told(tmp_path):
    path = '<path id="b" d="M 0 0 H 80 V 50 H 0 Z"/>'
    clipped = "a clip path over it is left out: the outline is the whole shape"
    assert read_noted(svg(tmp_path, f'<g clip-path="url(#c)">{path}</g>'), "b")[1] == (clipped,)
    assert read_noted(svg(tmp_path, path.replace("/>", ' style="clip-path:url(#c)"/>')), "b")[1] == (clipped,)
    assert read_noted(svg(tmp_path, f'<g mask="url(#c)">{path}</g>'), "b")[1] == (clipped.replace("a clip path", "a mask"),)
    shape, told = read_noted(svg(tmp_path, path, 'width="100" height="60" viewBox="0 0 100 60"'), "b")
    assert told == ('the drawing\'s width is "100", taken as px, 96 to the inch',)
    assert shape.area == pytest.approx(4000 * (25.4 / 96) ** 2)  # CSS Values and Units 4, 6.2


@pytest.mark.parametrize(("body", "found"), [
    ('<style>.k{width:9px;height:9px}</style><rect id="b" class="k"/>', 'The rect has its "width" in a style.'),
    ('<style>#b, g {r:9px}</style><circle id="b" r="2"/>', 'The circle has its "r" in a style.'),
    ('<path id="b" style="d:path(\'M0 0H9V9Z\')" d="M 0 0 H 5 V 5 Z"/>', 'The path has its "d" in a style.'),
    ('<rect id="b" height="9"/>', "The rect has no width."),
    ('<circle id="b" cx="9"/>', "The circle has no r."),
])
def test_a_size_in_a_style_is_refused(tmp_path, body, found):
    """SVG 2, 7.1: a style sheet may give x, y, width, height, r and d; one that is passed over is an outline of another size."""
    with pytest.raises(MockupError, match=found.replace(".", r"\.") + " Convert it to a path"):
        read_noted(svg(tmp_path, body), "b")
    plain = '<style>.k{width:9px} text{r:3px}</style><rect id="b" width="5" height="5"/>'
    assert read_noted(svg(tmp_path, plain), "b")[0].area == pytest.approx(25)


def test_the_outlines_seen_in_a_group(tmp_path):
    """Each outline once, by the id of its shape; what is only a mould for others is not drawn."""
    file = svg(tmp_path, '<defs><rect id="mould" width="1" height="1"/></defs><clipPath id="c"><rect id="cut" width="1" height="1"/></clipPath>'
                         '<g id="one"><rect id="body" width="9" height="9"/></g><g id="lone"><rect width="9" height="9"/></g>'
                         '<g id="tail"><rect id="base" width="9" height="9"/><circle id="dot" r="2"/></g>')
    assert outline_ids(file, "") == ("body", "lone", "base", "dot")
    assert outline_ids(file, "tail") == ("base", "dot")
    assert outline_ids(file, "dot") == ("dot",)
    with pytest.raises(MockupError, match='There is no group or outline with the id "tial". Did you mean "tail"'):
        outline_ids(file, "tial")


def test_a_gap_in_lines_is_told_where_it_is():
    """Of two runs of lines that do not meet the place is the corner, not the whole of a side."""
    def draw(m):
        lines(m, [(0, -50), (0, 0), (79.9, 0)])
        lines(m, [(80, 0), (80, -50), (0.3, -50)])

    with pytest.raises(MockupError) as caught:
        outline_from_dxf(dxf(draw), "BODY")
    assert str(caught.value) == "The outline is open: 0.10 mm are missing from x 79.90, y 0.00 to x 80.00, y 0.00 mm. " \
                                "Join the curves there, and wherever else they end without meeting."


def test_lines_drawn_twice_are_taken_once():
    def draw(m):
        lines(m, [*BOX, BOX[0]])
        lines(m, [*BOX, BOX[0]][::-1])

    shape, notes = outline_from_dxf(dxf(draw), "BODY")
    assert shape.area == pytest.approx(4000) and notes == ("curves drawn twice are taken once (4 left out)",)
    shape, notes = outline_from_dxf(dxf(lambda m: [m.add_lwpolyline(BOX[k:] + BOX[:k], close=True, dxfattribs=L) for k in (0, 2)]), "BODY")
    assert shape.area == pytest.approx(4000) and notes == ("curves drawn twice are taken once (1 left out)",)


def test_many_lines_join_in_little_time():
    """6000 lines in any order: it took 9 s when every line was compared with every other, and 155 s for 19000."""
    ring = [(40 * math.cos(t), 30 * math.sin(t)) for t in np.linspace(0, 2 * math.pi, 6001)]
    order = np.random.default_rng(3).permutation(6000)

    def draw(m):
        for k in order:
            a, b = (ring[k], ring[k + 1]) if k % 3 else (ring[k + 1], ring[k])
            m.add_line(a, b, dxfattribs=L)

    data = dxf(draw)
    before = time.perf_counter()
    shape, notes = outline_from_dxf(data, "BODY")
    assert time.perf_counter() - before < 4
    assert shape.area == pytest.approx(math.pi * 1200, rel=1e-5) and notes == ()


def test_a_file_in_another_unit_and_one_that_is_no_drawing_are_told():
    data = dxf(lambda m: m.add_circle((0, 0), 9, dxfattribs=L), units=3)  # miles
    with pytest.raises(MockupError, match="The DXF file is in none of mm, cm, m, inches and feet: the outline is 18 x 18 mm if they are mm"):
        outline_from_dxf(data, "BODY")
    with pytest.raises(MockupError, match="This is not a readable DXF file"):
        outline_from_dxf(b'<svg xmlns="http://www.w3.org/2000/svg"><path id="b" d="M 0 0"/></svg>', "BODY")
