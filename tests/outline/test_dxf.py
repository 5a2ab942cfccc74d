"""DXF files: the same outlines as SVG, units, blocks, bulges, splines, and what is wrong with a file in one sentence."""

from __future__ import annotations

import io
import math

import ezdxf
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mockup.errors import MockupError
from mockup.outline.coverage import coverage
from mockup.outline.drawing import outline_from_svg
from mockup.outline.dxf import dxf_layers, outline_from_dxf

BODY = {"layer": "BODY"}


def written(draw, *, units: int | None = 4, version: str = "R2010") -> bytes:
    """A DXF file with what ``draw`` puts into it; units as $INSUNITS, None for none."""
    document = ezdxf.new(version)
    document.header["$INSUNITS"] = 0 if units is None else units
    draw(document)
    text = io.StringIO()
    document.write(text)
    return text.getvalue().encode()


def test_svg_and_dxf_of_one_drawing_give_one_mask():
    """A slot with two straight and two round sides, and a round hole: arcs and lines in one, path data in the other."""
    def draw(d):
        m = d.modelspace()
        m.add_line((20, -10), (80, -10), dxfattribs=BODY)
        m.add_arc((80, -30), 20, -90, 90, dxfattribs=BODY)
        m.add_line((80, -50), (20, -50), dxfattribs=BODY)
        m.add_arc((20, -30), 20, 90, 270, dxfattribs=BODY)
        m.add_circle((50, -30), 9, dxfattribs=BODY)

    svg = b"""<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="60mm" viewBox="0 0 100 60"><path id="b" fill-rule="evenodd"
        d="M 20 10 H 80 A 20 20 0 0 1 80 50 H 20 A 20 20 0 0 1 20 10 Z M 59 30 A 9 9 0 1 1 41 30 A 9 9 0 1 1 59 30 Z"/></svg>"""
    a, notes = outline_from_dxf(written(draw), "BODY")
    b = outline_from_svg(svg, "b")
    exact = 60 * 40 + math.pi * (400 - 81)
    assert notes == () and abs(a.area / exact - 1) < 1e-6 and abs(b.area / exact - 1) < 1e-6
    masks = [coverage(s, origin=(-2, -2), px_per_mm=3.7, size=(385, 240)) for s in (a, b)]
    assert np.abs(masks[0] - masks[1]).max() < 2e-4


@pytest.mark.parametrize(("units", "factor"), [(1, 25.4), (2, 304.8), (4, 1.0), (5, 10.0), (6, 1000.0)])
def test_units_of_the_file_are_believed(units, factor):
    """$INSUNITS of the DXF reference: 1 inches, 2 feet, 4 millimetres, 5 centimetres, 6 metres."""
    data = written(lambda d: d.modelspace().add_circle((0, 0), 2, dxfattribs=BODY), units=units)
    for asked in (None, "mm", "inch"):
        shape, _ = outline_from_dxf(data, "BODY", units=asked)
        assert shape.area == pytest.approx(math.pi * 4 * factor**2, rel=2e-5 if factor < 100 else 2e-3)


def test_a_file_without_units_asks_with_both_readings():
    data = written(lambda d: d.modelspace().add_lwpolyline([(0, 0), (12, 0), (12, 16), (0, 16)], close=True, dxfattribs=BODY), units=None)
    with pytest.raises(MockupError, match=r"12 x 16 mm if they are mm, and 305 x 406 mm if they are inches. Add units = \"mm\" or"):
        outline_from_dxf(data, "BODY")
    assert outline_from_dxf(data, "BODY", units="inch")[0].area == pytest.approx(12 * 16 * 25.4**2)


def test_bulges_ellipses_splines_and_placed_blocks():
    def draw(d):
        m = d.modelspace()
        m.add_lwpolyline([(0, 0, 1), (40, 0, 1)], format="xyb", close=True, dxfattribs={"layer": "round"})
        m.add_ellipse((0, 0), (30, 0), 0.5, dxfattribs={"layer": "oval"})
        block = d.blocks.new("PLATE")
        block.add_lwpolyline([(0, 0), (10, 0), (10, 20), (0, 20)], close=True)   # on layer 0: goes where the block goes
        inner = d.blocks.new("NEST")
        inner.add_blockref("PLATE", (5, 5), dxfattribs={"rotation": 30})
        m.add_blockref("NEST", (100, 0), dxfattribs={"layer": "plate", "xscale": 2, "yscale": 2})
        t = np.linspace(0, 2 * np.pi, 33)
        m.add_spline(np.column_stack((50 * np.cos(t), 50 * np.sin(t), 0 * t)), dxfattribs={"layer": "spline"})

    data = written(draw)
    assert set(dxf_layers(data)) == {"round", "oval", "plate", "spline"}
    areas = {"round": math.pi * 400, "oval": math.pi * 30 * 15, "plate": 800.0}
    for layer, exact in areas.items():
        assert outline_from_dxf(data, layer.upper())[0].area == pytest.approx(exact, rel=1e-6), layer
    assert outline_from_dxf(data, "spline")[0].area == pytest.approx(math.pi * 2500, rel=3e-4)  # a spline through points of a circle
    x0, y0, x1, y1 = outline_from_dxf(data, "plate")[0].bounds
    assert 80 < x0 < x1 < 140 and y1 < 0  # y runs up in the file


@settings(deadline=None, max_examples=25, derandomize=True)
@given(st.permutations(range(6)), st.lists(st.booleans(), min_size=6, max_size=6), st.floats(0.0, 0.045))
def test_pieces_in_any_order_and_direction_are_joined_and_gaps_are_said(order, turned, gap):
    corners = [(60 * math.cos(a), 60 * math.sin(a)) for a in np.arange(6) * math.pi / 3]

    def draw(d):
        for k in order:
            a, b = corners[k], (corners[(k + 1) % 6][0] + (gap if k == 2 else 0.0), corners[(k + 1) % 6][1])
            d.modelspace().add_line(*((b, a) if turned[k] else (a, b)), dxfattribs=BODY)
        d.modelspace().add_line(corners[0], corners[0], dxfattribs=BODY)  # of no length: nothing

    shape, notes = outline_from_dxf(written(draw), "BODY")
    assert shape.area == pytest.approx(1.5 * math.sqrt(3) * 3600, rel=1e-3)
    assert bool(notes) == (gap > 1e-4)


@pytest.mark.parametrize(("points", "words"), [
    ([(0, 0), (50, 0), (50, 50), (3, 50), (3, 2)], "The outline is open: 3.61 mm are missing from x 3.00, y -2.00 to x 0.00, y 0.00 mm."),
    ([(0, 0), (50, 50), (50, 0), (0, 50), (0, 0)], "The outline crosses itself"),
])
def test_open_and_crossing_outlines_are_refused(points, words):
    data = written(lambda d: d.modelspace().add_lwpolyline(points, dxfattribs=BODY))
    with pytest.raises(MockupError) as caught:
        outline_from_dxf(data, "BODY")
    assert words in str(caught.value)


@pytest.mark.parametrize("first", range(4))
def test_one_gap_between_lines_is_told_as_that_gap(first):
    """Whichever line the file names first, and not as all that this one lacks to be a ring."""
    lines = [((0, 0), (100, 0)), ((100, 3), (100, 80)), ((100, 80), (0, 80)), ((0, 80), (0, 0))]

    def draw(d):
        for a, b in lines[first:] + lines[:first]:
            d.modelspace().add_line(a, b, dxfattribs=BODY)

    with pytest.raises(MockupError, match="3.00 mm are missing from x 100.00, y"):
        outline_from_dxf(written(draw), "BODY")


def binary(draw) -> bytes:
    document = ezdxf.new("R2010")
    document.header["$INSUNITS"] = 4
    draw(document)
    data = io.BytesIO()
    document.write(data, fmt="bin")
    return data.getvalue()


def test_a_binary_file_is_read_as_one_of_text():
    def draw(d):
        d.modelspace().add_circle((10, 5), 20, dxfattribs=BODY)

    (ring,), (same,) = (outline_from_dxf(data, "BODY")[0].rings for data in (binary(draw), written(draw)))
    assert np.array_equal(ring, same)


def test_a_missing_layer_names_the_nearest():
    data = written(lambda d: d.modelspace().add_circle((0, 0), 20, dxfattribs=BODY))
    with pytest.raises(MockupError, match='There is no layer "BODDY" with curves in the drawing. Did you mean "BODY"'):
        outline_from_dxf(data, "BODDY")


@pytest.mark.parametrize("data", [b"", b"  \n", b"not a drawing at all", b"\x00" * 400, b"  0\nSECTION\n  2\nENTITIES\n  0\nLINE\n",
                                  binary(lambda d: None)[:22] + b"\xff" * 60, binary(lambda d: None)[:6000]])
def test_what_is_no_dxf_is_told_in_one_sentence(data):
    with pytest.raises(MockupError) as caught:
        outline_from_dxf(data, "BODY")
    assert len(caught.value.problems) == 1 and "\n" not in str(caught.value)


GOOD = written(lambda d: d.modelspace().add_lwpolyline([(0, 0, 0.4), (30, 0), (30, 30)], format="xyb", close=True, dxfattribs=BODY))


@settings(deadline=None, max_examples=40, derandomize=True)
@given(st.lists(st.tuples(st.floats(0, 1), st.integers(0, 4), st.binary(max_size=5)), min_size=1, max_size=6))
def test_spoiled_files_never_end_in_anything_but_a_sentence(spoils):
    good = bytearray(GOOD)
    for where, length, other in spoils:
        at = int(where * (len(good) - 1))
        good[at:at + length] = other
    try:
        outline_from_dxf(bytes(good), "BODY", units="mm")
    except MockupError as error:
        assert str(error)
