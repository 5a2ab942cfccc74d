"""Draws the pictures of README.md anew: ``python -m tests.make_pictures``. Look at them before you keep them.

For each built-in scene NAME, into its folder: NAME.sheet.jpg, NAME.approval.jpg, and NAME.both.jpg, front and back.
"""

from pathlib import Path

from mockup.files.picture import encode_picture
from mockup.files.whole import write_whole
from mockup.papers.approval import approval
from mockup.papers.raster import raster
from mockup.papers.sheet import sheet
from mockup.render.kept import Kept
from mockup.render.picture import MARGIN
from mockup.render.views import View, view_box, view_picture
from mockup.scene.load import load_scene
from mockup.scene.places import builtin_scenes

WIDTH = 1600            # pixels of a page
QUALITY = 78            # JPEG, all colour kept
TODAY = "2026-11-25"    # so that a picture changes only when its drawing does


def main() -> None:
    for name, file in builtin_scenes().items():
        scene, kept = load_scene(file), Kept()
        page = sheet(scene, today=TODAY, px_width=WIDTH, kept=kept)
        keep(file.with_suffix(".sheet.jpg"), raster(page), page.px_per_mm)
        page = approval(scene, scene.variants[0].name, file.parent, today=TODAY, px_width=WIDTH, kept=kept).page
        keep(file.with_suffix(".approval.jpg"), raster(page), page.px_per_mm)


        view = View(side="both", lying=True)
        x0, y0, x1, y1 = view_box(scene, view)
        made = view_picture(scene.with_variant(scene.variants[0].name), view, scale=round(WIDTH / (y1 - y0 + 2 * MARGIN), 2), kept=kept)
        keep(file.with_suffix(".both.jpg"), made.pixels, made.px_per_mm)


def keep(path: Path, pixels, px_per_mm: float) -> None:
    data = encode_picture(pixels, ".jpg", px_per_mm=px_per_mm, quality=QUALITY)
    write_whole(path, data)
    print(path, f"{len(data) / 1000:.0f} kB")


if __name__ == "__main__":
    main()
