"""``mockup render --light tilt``: a loop in which the figure moves with the light."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from ..errors import MockupError
from .output import checked_file, checked_folder, note, wrote
from .progress import progress

if TYPE_CHECKING:
    import numpy as np

    from ..scene.values import Scene

__all__ = ["draw_tilt"]

LONG = 1000   # pixels of the longer side, when nobody asked for a scale
MOST = 4e6    # pixels of a frame
MS = 80       # a frame is shown for


def draw_tilt(scene: Scene, *, side: str, part: str | None, scale: float | None, out: Path | None, stem: str) -> None:
    """Write the loop: WebP or GIF by the ending of ``out``, or its frames as PNG into a folder; a WebP here for None."""
    from ..files.moving import MOVING, encode_moving
    from ..files.picture import encode_picture
    from ..files.whole import write_all
    from ..render.canvas import Canvas
    from ..render.picture import MARGIN
    from ..render.tilt import tilt
    from ..render.views import NEAR, View, view_box

    path = out if out is not None else Path(f"{stem}.tilt.webp")
    folder = path.suffix == ""
    if folder:
        checked_folder(path)
    else:
        checked_file(path, MOVING, scene.sources.values())
    box, margin = view_box(scene, View(side=side, part=part)), MARGIN if part is None else NEAR
    if scale is None:
        scale = int(100 * LONG / (max(box[2] - box[0], box[3] - box[1]) + 2 * margin)) / 100
    canvas = Canvas.around(box, scale, margin)
    if canvas.width * canvas.height > MOST:
        raise MockupError(f"A loop of {canvas.width} x {canvas.height} pixels would be too large to send.",
                          fix=f"Use a scale of at most {int(100 * scale * (MOST / (canvas.width * canvas.height)) ** 0.5) / 100:g} pixels per mm, "
                              "or --crop to one part.")
    with progress(f"Moving the light over {stem}") as report:
        moved = tilt(scene, canvas, side=side, report=lambda share: report(0.7 * share))
        words = f"Movement of the figure, {'; '.join(moved.words)}." if moved.words else "There is no wood to be seen."
        frames = _captioned(moved.frames, words)
        if folder:
            files = {}
            for n, frame in enumerate(frames):
                files[path / f"{stem}.tilt.{n:02d}.png"] = encode_picture(frame, ".png", px_per_mm=scale)
                report(0.7 + 0.3 * (n + 1) / len(frames))
        else:
            files = {path: encode_moving(frames, path.suffix, ms=MS)}
        write_all(files)
    wrote(*files)
    height, width = frames[0].shape[:2]
    note(f"{len(frames)} frames of {width} x {height} pixels, {len(frames) * MS / 1000:g} s a loop")
    note(words)


def _captioned(frames: tuple[np.ndarray, ...], words: str) -> list[np.ndarray]:
    """Each frame with a line under it, so that who is sent the loop knows what it rests on."""
    import numpy as np

    from ..papers.flow import Column, Style
    from ..papers.page import Page
    from ..papers.raster import raster

    wide = frames[0].shape[1]
    density = 4.5  # pixels per mm: capitals of 8 points are about 9 pixels high
    line = Column(3, 2.2, wide / density - 6)
    line.text(words, Style(8).quiet())
    strip = raster(Page(wide / density, line.y + 2.0, tuple(line.items), density))
    strip = strip[:, :wide] if strip.shape[1] >= wide else np.pad(strip, ((0, 0), (0, wide - strip.shape[1]), (0, 0)), mode="edge")
    return [np.concatenate([frame, strip]) for frame in frames]
