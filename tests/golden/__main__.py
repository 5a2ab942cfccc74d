"""Draw the golden pictures anew, say how far each has moved, and write them."""

from pathlib import Path

import numpy as np

from mockup.files.picture import write_picture
from mockup.scene.places import builtin_scenes

from .draw import SCALE, difference, draw, read

HERE = Path(__file__).parent


def main() -> None:
    for name in builtin_scenes():
        made, file = draw(name), HERE / f"{name}.png"
        if file.exists() and (old := read(file)).shape == made.shape:
            apart = difference(old, made)
            print(f"{file.name}: mean ΔE00 {apart.mean():.3f}, 99th percentile {np.percentile(apart, 99):.2f}")
        else:
            print(f"{file.name}: new")
        write_picture(file, made, px_per_mm=SCALE)


if __name__ == "__main__":
    main()
