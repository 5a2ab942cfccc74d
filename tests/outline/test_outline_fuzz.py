"""Whatever is in a drawing, only a shape or a refusal comes out, and soon."""

import time

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from mockup.errors import MockupError
from mockup.outline.coverage import coverage
from mockup.outline.drawing import outline_from_svg
from mockup.outline.shape import Shape
from mockup.outline.svgdocument import Drawing

FRAME = '<svg xmlns="http://www.w3.org/2000/svg" width="{}" height="300mm" viewBox="{}">{}</svg>'

numbers = st.one_of(
    st.integers(-300, 300).map(str),
    st.floats(-400, 400).map(lambda v: f"{v:.3f}"),
    st.sampled_from(["1e308", "-1e-300", "0", ".5", "5.", "nan", "inf", "1e5"]),
)
commands = st.tuples(st.sampled_from("MmLlHhVvCcSsQqTtAaZzX"), st.lists(numbers, max_size=8)).map(
    lambda c: c[0] + " ".join(c[1])
)
path_data = st.lists(commands, max_size=14).map(lambda c: "M10 10" + "".join(c))
plain_text = st.text(st.characters(codec="utf-8", exclude_characters='<>&"', exclude_categories=["Cc", "Cs"]), max_size=40)


def only_shape_or_refusal(data: bytes) -> None:
    start = time.perf_counter()
    try:
        shape = outline_from_svg(data, "a")
    except MockupError as error:
        assert str(error) and "\n" not in str(error)
    else:
        assert isinstance(shape, Shape) and shape.area > 0
        found = coverage(shape, origin=shape.bounds[:2], px_per_mm=0.1, size=(50, 50))
        assert np.isfinite(found).all()
    assert time.perf_counter() - start < 5.0


@settings(max_examples=150, deadline=None, derandomize=True)
@given(path_data)
def test_random_path_data(d):
    only_shape_or_refusal(FRAME.format("400mm", "0 0 400 300", f'<path id="a" d="{d}"/>').encode())


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.lists(st.tuples(st.floats(0, 300), st.floats(0, 300)), min_size=3, max_size=9), st.sampled_from("LT"))
def test_random_closed_curves(points, command):
    """Mostly real outlines: what is let through encloses what its rings say."""
    d = "M" + command.join(f"{x:.2f} {y:.2f} " for x, y in points) + "z"
    only_shape_or_refusal(FRAME.format("400mm", "0 0 400 300", f'<path id="a" d="{d}"/>').encode())


@settings(max_examples=100, deadline=None, derandomize=True)
@given(plain_text, plain_text, plain_text, plain_text, plain_text)
def test_random_attributes(width, box, transform, style, length):
    body = f'<g transform="{transform}"><rect id="a" style="{style}" width="{length}" height="9" transform="{length}"/></g>'
    only_shape_or_refusal(FRAME.format(width, box, body).encode())
    only_shape_or_refusal(FRAME.format("400mm", "0 0 400 300", body).encode())


@settings(max_examples=150, deadline=None, derandomize=True)
@given(st.binary(max_size=300))
def test_random_bytes(data):
    only_shape_or_refusal(data)


@settings(max_examples=150, deadline=None, derandomize=True)
@given(st.data())
def test_a_good_file_with_bytes_changed(data):
    body = '<defs><circle id="c" r="9"/></defs><use id="a" href="#c" transform="rotate(5) scale(2)"/>'
    good = bytearray(FRAME.format("400mm", "0 0 400 300", body).encode())
    for _ in range(data.draw(st.integers(1, 4))):
        good[data.draw(st.integers(0, len(good) - 1))] = data.draw(st.integers(0, 255))
    only_shape_or_refusal(bytes(good))
    try:
        Drawing(bytes(good)).ids()
    except MockupError:
        pass
