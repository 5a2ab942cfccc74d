"""The outlines of the demo scenes: sizes of real bodies, and curves without kinks."""

from pathlib import Path

import numpy as np
import pytest

from mockup.outline.drawing import outline_ids, read_outline

SCENES = Path(__file__).parents[2] / "scenes"


@pytest.mark.parametrize(("name", "width", "length"), [("tern", 290, 398), ("heron", 328, 459), ("dunlin", 295, 386), ("bittern", 200, 796)])
def test_body(name, width, length):
    file = SCENES / name / f"{name}.svg"
    assert "body" in outline_ids(file)
    body = read_outline(file, "body")
    assert len(body.rings) == 1
    if "top" in outline_ids(file):
        assert read_outline(file, "top").area == pytest.approx(body.area)
    x0, y0, x1, y1 = body.bounds
    assert abs(x1 - x0 - width) < 3 and abs(y1 - y0 - length) < 3
    assert x0 < -99 and x1 > 99  # the centre line is x = 0

    ring = body.rings[0]
    run = np.roll(ring, -1, axis=0) - ring
    heading = np.unwrap(np.arctan2(run[:, 1], run[:, 0]))
    assert np.degrees(np.abs(np.diff(heading))).max() < 1.0
