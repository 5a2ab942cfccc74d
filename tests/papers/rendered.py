"""Pages of a PDF as pixels, by a reader that shares no code with what writes them, and lengths measured in them."""

import io
import shutil
import subprocess

import numpy as np
import pypdfium2
from PIL import Image


def by_poppler(data, dpi, page, folder, band=None):
    """One page (from 1) by pdftoppm, (H, W, 3) float32; None where that program is not. ``band`` as for PDFium."""
    if shutil.which("pdftoppm") is None:
        return None
    (folder / "page.pdf").write_bytes(data)
    rows = [] if band is None else ["-x", "0", "-W", "20000", "-y", str(band[0]), "-H", str(band[1] - band[0])]
    run = subprocess.run(["pdftoppm", "-r", str(dpi), "-f", str(page), "-l", str(page), *rows, folder / "page.pdf"], capture_output=True, check=True)
    return np.asarray(Image.open(io.BytesIO(run.stdout)).convert("RGB"), np.float32)


def by_pdfium(data, dpi, page, band=None):
    """One page (from 1) by PDFium, (H, W, 3) float32; of ``band`` = (first, last) only those rows."""
    page = pypdfium2.PdfDocument(data)[page - 1]
    crop = (0, 0, 0, 0)
    if band is not None:
        height = page.get_height()
        crop = (0, height - band[1] / dpi * 72, 0, band[0] / dpi * 72)
    return page.render(scale=dpi / 72, crop=crop, rev_byteorder=True).to_numpy()[..., :3].astype(np.float32)


def middles(profile, dpi, least=60.0):
    """Places in mm along a profile of darkness at which lines cross it: centroids of its humps, with half a pixel's care."""
    dark = profile > least
    edges = np.flatnonzero(np.diff(np.concatenate([[0], dark.astype(int), [0]])))
    found = []
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        a, b = max(first - 2, 0), min(last + 2, len(profile))
        weight = profile[a:b]
        found.append(float(((np.arange(a, b) + 0.5) * weight).sum() / weight.sum()) * 25.4 / dpi)
    return found


def darkness(pixels):
    """255 minus the middle of the channels."""
    return 255 - pixels.mean(axis=2)


def redness(pixels):
    """How much redder than grey, 0 for white and black."""
    return pixels[..., 0] - pixels[..., 1:].mean(axis=2)
