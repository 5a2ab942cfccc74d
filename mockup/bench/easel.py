"""Pictures for the page, one at a time, the latest wish first: what nobody waits for any more is not drawn."""

from __future__ import annotations

import itertools
import threading
from collections.abc import Callable, Hashable, Mapping
from concurrent.futures import Future
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np

from ..errors import MockupError
from ..render.canvas import Canvas
from ..render.kept import Kept
from ..render.picture import picture, picture_canvas
from ..scene.values import Edge, Fitting, Form, Part, Scene

__all__ = ["Easel", "Gone", "Seen", "draw", "encoded", "read_seen", "sketched"]

MOST_PIXELS = 20_000_000  # of a picture on the page
KEEP = 420_000_000        # bytes of what earlier pictures left
SURROUNDS = {"grey": (66.0, 0.0, 0.0), "light": (92.0, 0.0, 0.0), "dark": (26.0, 0.0, 0.0)}  # L*a*b* of what the page has around the instrument
QUALITY = 88              # of a picture that the next one replaces


class Gone(Exception):
    """A newer wish took this one's place before it was drawn."""


@dataclass(frozen=True)
class Seen:
    """What of a scene the page shows, in pixels of its screen.

    origin   drawing point (mm) at the upper left corner of the picture, as ``Canvas``.
    scale    pixels per mm.
    size     (width, height) of the picture as shown, after the turn.
    lying    neck to the left.
    ground   Lab around the instrument.
    """

    side: str
    origin: tuple[float, float]
    scale: float
    size: tuple[int, int]
    lying: bool
    ground: tuple[float, float, float]

    def canvas(self) -> Canvas:
        """The same as the renderer has it; MockupError when it is no sensible size."""
        width, height = self.size
        if not (8 <= width <= 8000 and 8 <= height <= 8000 and width * height <= MOST_PIXELS):
            raise MockupError(f"A picture of {width} x {height} pixels is not drawn on the page.", fix="Make the window smaller.")
        if not 0.05 <= self.scale <= 60 or max(abs(v) for v in self.origin) > 20_000:
            raise MockupError("Nothing of the instrument is there.", fix="Show all of it again.")
        return Canvas(self.origin, self.scale, (height, width) if self.lying else (width, height), self.lying)


def read_seen(asked: Mapping[str, Any]) -> Seen:
    """What of the scene the page shows, its kinds checked; sizes are checked when it is drawn. MockupError for anything else."""

    def numbers(key: str, count: int) -> list[float]:
        value = asked.get(key)
        if not isinstance(value, list) or len(value) != count or not all(isinstance(v, (int, float)) and abs(v) < 1e6 for v in value):
            raise MockupError(f"The page sent no {key}.", fix="Load it again.")
        return value

    origin, size = numbers("origin", 2), numbers("size", 2)
    scale = numbers("scale", 1)[0] if isinstance(asked.get("scale"), list) else asked.get("scale")
    if not isinstance(scale, (int, float)) or asked.get("side") not in ("front", "back"):
        raise MockupError("The page sent no view.", fix="Load it again.")
    return Seen(asked["side"], (float(origin[0]), float(origin[1])), float(scale), (int(size[0]), int(size[1])), bool(asked.get("lying")),
                SURROUNDS.get(str(asked.get("surround")), SURROUNDS["grey"]))


def draw(scene: Scene, seen: Seen, kept: Kept, report: Callable[[float], None] | None = None) -> np.ndarray:
    """(H, W, 3) uint8 sRGB, turned as it is shown. Raises as ``render.picture``."""
    canvas = seen.canvas()
    whole = picture_canvas(scene, side=seen.side, scale=1.0, lying=seen.lying)
    s = canvas.px_per_mm
    if seen.lying:  # what is right in the drawing is up
        far = whole.origin[0] + whole.width
        span = ((far - canvas.origin[0] - canvas.width / s) / whole.width, (far - canvas.origin[0]) / whole.width)
    else:
        span = tuple((canvas.origin[1] + v / s - whole.origin[1]) / whole.height for v in (0, canvas.height))
    # The page shows more ground than a picture has: it fades no further there.
    span = (min(max(span[0], -0.2), 1.0), min(max(span[1], 0.0), 1.3))
    made = picture(replace(scene, ground=seen.ground), side=seen.side, scale=s, kept=kept, canvas=canvas, span=span, report=report).pixels
    return cv2.rotate(made, cv2.ROTATE_90_COUNTERCLOCKWISE) if seen.lying else made


def encoded(rgb: np.ndarray, *, exact: bool) -> tuple[bytes, str]:
    """A picture for the browser and its media type: PNG for one that stays, JPEG while something moves."""
    bgr = cv2.cvtColor(rgb, cv2.COLOR_RGB2BGR)
    if exact:
        done, data = cv2.imencode(".png", bgr)
        kind = "image/png"
    else:
        done, data = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
        kind = "image/jpeg"
    if not done:
        raise RuntimeError("a picture was not encoded")
    return data.tobytes(), kind


def sketched(scene: Scene) -> Scene:
    """A scene without rounded edges, shadows and strings: drawn in a third of the time, for the very first look."""

    def flat(piece: Part | Fitting) -> Part | Fitting:
        flat = {"edge": Edge(roundover=0.0), "form": Form(), "height": 0.0, "below": 0.0}
        return replace(piece, **flat) if isinstance(piece, Part) else replace(piece, **flat, rods=(), spun=False)

    order = tuple(flat(p) for p in scene.order)
    return replace(scene, order=order, parts=tuple(p for p in order if isinstance(p, Part)))


class _Yield(Exception):
    """A picture in work makes room for one that is waited for."""


class Easel:
    """A thread that draws. ``ask`` puts a wish in place of an older one under the same name."""

    def __init__(self) -> None:
        self.kept = Kept(KEEP)
        self._waiting: dict[Hashable, tuple[int, int, Callable[..., Any], Future]] = {}
        self._order = itertools.count()
        self._some = threading.Condition()
        self._done = False
        self._thread = threading.Thread(target=self._work, name="easel", daemon=True)
        self._thread.start()

    def ask(self, name: Hashable, rank: int, work: Callable[[Callable[[float], None]], Any]) -> Future:
        """Have ``work(report)`` done; a lower rank goes first. The future holds its result, its error, or Gone."""
        future: Future = Future()
        with self._some:
            if self._done:
                future.set_exception(Gone())
                return future
            if (older := self._waiting.pop(name, None)) is not None:
                older[3].set_exception(Gone())
            self._waiting[name] = (rank, next(self._order), work, future)
            self._some.notify()
        return future

    def stop(self) -> None:
        """Draw no more; all that wait are told."""
        with self._some:
            self._done = True
            for *_, future in self._waiting.values():
                future.set_exception(Gone())
            self._waiting.clear()
            self._some.notify()
        self._thread.join(timeout=10)

    def _work(self) -> None:
        while True:
            with self._some:
                while not self._waiting and not self._done:
                    self._some.wait()
                if self._done:
                    return
                name = min(self._waiting, key=lambda n: self._waiting[n][:2])
                rank, order, work, future = self._waiting.pop(name)

            def report(_: float, rank: int = rank) -> None:
                # Work of the background stops for a hand that moves.
                if self._done or rank > 1 and any(r < min(rank, 2) for r, *_ in list(self._waiting.values())):
                    raise _Yield

            try:
                future.set_result(work(report))
            except _Yield:
                with self._some:
                    if self._done or name in self._waiting:
                        future.set_exception(Gone())
                    else:
                        self._waiting[name] = (rank, order, work, future)
            except BaseException as error:
                future.set_exception(error)
