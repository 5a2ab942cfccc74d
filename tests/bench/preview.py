"""How long a change of finish takes at a preview of 1600 x 700 once the bare layer is kept."""

import time
from collections import defaultdict
from dataclasses import replace
from statistics import median

import cv2
import numpy as np

from mockup.finish.steps import Coat, Finish, StainStep
from mockup.papers.describe import largest_seen
from mockup.render.canvas import Canvas
from mockup.render.kept import Kept
from mockup.render.picture import MARGIN, picture, scene_box
from mockup.scene.library import films, stains
from mockup.scene.load import load_scene

__all__ = ["SIZE", "preview_times"]

SIZE = (700, 1600)  # of the canvas, upright; shown lying on its side
NAMES = ("honey", "cherry", "tobacco", "blue", "red", "green", "amber", "teal")


def _finish(turn: int, kind: str) -> Finish:
    """The finish of one turn; from turn to turn only what ``kind`` names is another."""
    n = {k: turn if k == kind else 0 for k in ("stain", "strength", "coats", "sheen")}
    stain = StainStep(stain=stains()[NAMES[n["stain"] % len(NAMES)]].value, strength=0.3 + 0.05 * (n["strength"] % 12))
    return Finish(steps=(stain, Coat(film=films()["lacquer"].value, coats=1 + n["coats"] % 9)), sheen=20 + 5.0 * (n["sheen"] % 13))


def preview_times(name: str, rounds: int) -> tuple[dict[str, list[tuple[float, float]]], list[tuple[float, float]]]:
    """Seconds, and seconds of processor, of each picture by what changed in it, on the part most seen of a built-in scene, and of a float Lab round trip between them."""
    scene = load_scene(name)
    largest = largest_seen(scene)
    x0, y0, x1, y1 = scene_box(scene)
    scale = min(SIZE[0] / (x1 - x0 + 2 * MARGIN), SIZE[1] / (y1 - y0 + 2 * MARGIN))
    canvas = Canvas(((x0 + x1) / 2 - SIZE[0] / scale / 2, (y0 + y1) / 2 - SIZE[1] / scale / 2), scale, SIZE)
    image = np.random.default_rng(1).random((SIZE[1], SIZE[0], 3), np.float32)
    kept, times, trips = Kept(), defaultdict(list), []

    def shown(finish: Finish) -> tuple[float, float]:
        view = replace(scene, parts=tuple(replace(p, finish=finish) if p.name == largest else p for p in scene.parts))
        cpu, start = time.process_time(), time.perf_counter()
        picture(view, scale=scale, canvas=canvas, kept=kept)
        return time.perf_counter() - start, time.process_time() - cpu

    shown(_finish(0, ""))
    for kind in ("stain", "strength", "coats", "sheen"):
        shown(_finish(0, kind))
        for turn in range(1, rounds + 1):
            times[kind].append(shown(_finish(turn, kind)))
            cpu, start = time.process_time(), time.perf_counter()
            cv2.cvtColor(cv2.cvtColor(image, cv2.COLOR_RGB2Lab), cv2.COLOR_Lab2RGB)
            trips.append((time.perf_counter() - start, time.process_time() - cpu))
    return times, trips


def report(name: str, rounds: int) -> None:
    """Print medians, 95th percentiles, and the ratio to the round trip."""
    times, trips = preview_times(name, rounds)
    trip = median(wall for wall, _ in trips)
    print(f"\n{name} at {SIZE[1]} x {SIZE[0]}, bare layer kept; a float Lab round trip of the same size takes {trip * 1000:.1f} ms")
    for kind, seconds in times.items():
        wall, cpu = np.array(seconds).T * 1000
        value = median(wall)
        print(f"  change of {kind:<24}{value:6.1f} ms ({median(cpu):.1f} of processor), 95 % within {np.percentile(wall, 95):.1f}, {value / 1000 / trip:.1f} round trips   "
              f"at most 60 ms{'' if value <= 60 else '   MISSED'}")
