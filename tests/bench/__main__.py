"""Speed, memory and colour error as ratios in one run: ``python -m tests.bench``.

Ratios are of times taken in the same process, one right after the other, in an
order that changes each round; each is the median of its rounds. F is what no
program that reads these boards and writes this picture can do without:
OpenCV's decode of the boards' JPEGs and its default PNG encode of the picture.
Processor seconds stand beside, as other work on the machine stretches times.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from statistics import median

import cv2

from mockup.files.picture import write_picture
from mockup.render.kept import Kept
from mockup.render.layers import seen_pieces
from mockup.render.picture import picture
from mockup.scene.load import load_scene
from mockup.scene.values import Part

from .colour import colour_error
from .inputs import STAINS, photo_scene, scale_for
from .preview import report as preview

MEGAPIXELS, LARGE = 12.0, 49.0


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__.split("\n")[0])
    parser.add_argument("--rounds", type=int, default=5, help="rounds of each measure (5)")
    parser.add_argument("--instrument", action="store_true", help="only the whole instrument against one body, and a change of one part")
    parser.add_argument("--scene", action="append", help="a built-in scene to time; may be given twice (gannet, one body, and tern, a whole instrument)")
    parser.add_argument("--page", action="store_true", help="the bench page in a browser instead")
    chosen = parser.parse_args()
    if chosen.page:
        from .page import page

        for name in chosen.scene or ("tern",):
            page(name)
        return
    print(f"{os.cpu_count()} cores, Python {sys.version.split()[0]}, OpenCV {cv2.__version__}, load {os.getloadavg()[0]:.1f}")
    with tempfile.TemporaryDirectory() as folder:
        if chosen.instrument:
            instrument(Path(folder), chosen.rounds)
            return
        for name in chosen.scene or ("gannet", "tern"):
            file, photos = photo_scene(name, Path(folder))
            pictures(name, file, photos, Path(folder), chosen.rounds)
            memory(file, Path(folder))
            cores(file, Path(folder), chosen.rounds)
        instrument(Path(folder), chosen.rounds)
        for name in chosen.scene or ("gannet", "tern"):
            preview(name, 4 * chosen.rounds)
        colours(Path(folder))
    start_up(max(chosen.rounds, 9))


def interleaved(works: dict[str, Callable[[], object]], rounds: int) -> tuple[dict[str, list[float]], dict[str, list[float]]]:
    """Wall and processor seconds of each work, by name, once a round in a turning order; one round first that is not kept."""
    wall, cpu = defaultdict(list), defaultdict(list)
    names = list(works)
    for turn in range(-1, rounds):
        for name in names[turn % len(names):] + names[:turn % len(names)]:
            before, start = time.process_time(), time.perf_counter()
            works[name]()
            if turn >= 0:
                wall[name].append(time.perf_counter() - start)
                cpu[name].append(time.process_time() - before)
    return wall, cpu


def ratio(title: str, over: list[float], under: list[float], most: float = float("inf"), aim: float | None = None) -> None:
    """Print the median of the pairs' ratios, its range, and what was promised."""
    pairs = [a / b for a, b in zip(over, under, strict=True)]
    value = median(pairs)
    promised = f"at most {most:g}" * (most < float("inf")) + (f", aim {aim:g}" if aim else "")
    print(f"  {title:<34}{value:6.2f}   [{min(pairs):.2f} to {max(pairs):.2f}]   {promised}{'' if value <= most else '   MISSED'}")


def pictures(name: str, file: Path, photos: list[Path], folder: Path, rounds: int) -> None:
    """Full picture against F, a change of stain and six variants against one picture."""
    scene = load_scene(file)
    scale = scale_for(scene, MEGAPIXELS)
    drawn = picture(scene, scale=scale)
    kept, stains = Kept(), [f"only-{s}" for s in STAINS]
    views = [scene.with_variant(v) for v in stains]
    picture(views[0], scale=scale, kept=kept)
    turn = iter(range(10**6))

    def floor() -> None:
        for photo in photos:
            cv2.imread(str(photo))
        cv2.imencode(".png", drawn.pixels)

    def full() -> None:
        fresh = load_scene(file)
        write_picture(folder / "full.png", picture(fresh, scale=scale).pixels, px_per_mm=scale)

    def six() -> None:
        shared = Kept()
        for view in views:
            picture(view, scale=scale, kept=shared)

    works = {"F": floor, "full": full, "one": lambda: picture(scene, scale=scale),
             "stain": lambda: picture(views[next(turn) % len(views)], scale=scale, kept=kept), "six": six}
    wall, cpu = interleaved(works, rounds)
    height, width = drawn.pixels.shape[:2]
    print(f"\n{name}: {width} x {height} pixels, {len(photos)} board photo{'s' if len(photos) > 1 else ''} of 12 MP, "
          f"{len(scene.parts)} part{'s' if len(scene.parts) > 1 else ''}")
    print("  seconds (of processor): " + ", ".join(f"{k} {median(v):.2f} ({median(cpu[k]):.2f})" for k, v in wall.items()))
    ratio("full picture, written / F", wall["full"], wall["F"], 2.2, 1.6)
    ratio("  the same, processor time", cpu["full"], cpu["F"])
    ratio("change of stain / one picture", wall["stain"], wall["one"], 0.4, 0.3)
    ratio("six variants / one picture", wall["six"], wall["one"], 2.8, 2.2)


def instrument(folder: Path, rounds: int) -> None:
    """Whole instruments of some 25 and of twice as many pieces against one body, from nothing, and one part's new finish against the whole."""
    files = {name: folder / name / f"{name}.toml" for name in ("gannet", "bittern", "tern")}
    scenes = {name: load_scene(file if file.exists() else photo_scene(name, folder)[0]) for name, file in files.items()}
    scales = {name: scale_for(scene, MEGAPIXELS) for name, scene in scenes.items()}
    whole, kept, turn = scenes["tern"], Kept(), iter(range(10**6))
    picture(whole, scale=scales["tern"], kept=kept)

    def part(name: str) -> Callable[[], object]:
        def work() -> None:
            finish = whole.with_variant(f"only-{STAINS[next(turn) % len(STAINS)]}").parts[0].finish
            order = tuple(replace(p, finish=finish) if p.name == name else p for p in whole.order)
            changed = replace(whole, order=order, parts=tuple(p for p in order if isinstance(p, Part)))
            picture(changed, scale=scales["tern"], kept=kept)
        return work

    def written(name: str) -> Callable[[], object]:
        def work() -> None:
            fresh = load_scene(files[name].with_name("plain.toml"))  # the scene as a maker has it
            write_picture(folder / f"{name}.png", picture(fresh, scale=scales[name]).pixels, px_per_mm=scales[name])
        return work

    works = {"body": lambda: picture(scenes["gannet"], scale=scales["gannet"]),
             "25": lambda: picture(scenes["bittern"], scale=scales["bittern"]),
             "whole": lambda: picture(whole, scale=scales["tern"]),
             **{f"{name}, written": written(name) for name in files},
             **{name: part(name) for name in ("top", "fretboard", "head-face")}}
    wall, cpu = interleaved(works, rounds)
    shown = {name: len(seen_pieces(scene, "front")) for name, scene in scenes.items()}
    print(f"\none body: gannet; whole instruments: bittern, {shown['bittern']} parts and pieces of hardware seen, and tern, {shown['tern']}")
    print("  seconds (of processor): " + ", ".join(f"{k} {median(v):.2f} ({median(cpu[k]):.2f})" for k, v in wall.items()))
    # As the full picture of one body is timed: from the scene's file to a file of the picture.
    ratio(f"{shown['bittern']} pieces / one body, written", wall["bittern, written"], wall["gannet, written"], 2.0)
    ratio("  drawn only", wall["25"], wall["body"])
    ratio("  drawn only, processor time", cpu["25"], cpu["body"])
    ratio(f"{shown['tern']} pieces / one body, written", wall["tern, written"], wall["gannet, written"])
    ratio("  drawn only", wall["whole"], wall["body"])
    ratio("  drawn only, processor time", cpu["whole"], cpu["body"])
    for name in ("top", "fretboard", "head-face"):
        ratio(f"new finish of the {name} / whole", wall[name], wall["whole"], 0.35)
        ratio("  the same, processor time", cpu[name], cpu["whole"])


def child(file: Path, megapixels: float, folder: Path, *more: str) -> dict[str, float]:
    """What one picture in a process of its own tells of itself."""
    run = subprocess.run([sys.executable, "-m", "tests.bench.child", str(file), str(megapixels), str(folder / "child.png"), *more],
                         capture_output=True, text=True, check=True)
    return json.loads(run.stdout)


def memory(file: Path, folder: Path) -> None:
    """Peak memory of one picture in a process of its own."""
    for megapixels, most in ((MEGAPIXELS, 0.6), (LARGE, 1.5)):
        told = child(file, megapixels, folder)
        peak = told["peak"] / 1e9
        print(f"  peak memory at {told['megapixels']:.0f} MP{'':<15}{peak:6.2f} GB   at most {most:g} GB{'' if peak <= most else '   MISSED'}")


def cores(file: Path, folder: Path, rounds: int) -> None:
    """How much sooner one picture is drawn with two cores than with one, in processes of their own."""
    if not hasattr(os, "sched_setaffinity") or (os.cpu_count() or 1) < 2:
        return
    wall: dict[str, list[float]] = {"1": [], "2": []}
    for turn in range(rounds):
        for count in ("1", "2") if turn % 2 else ("2", "1"):
            wall[count].append(child(file, MEGAPIXELS, folder, count)["wall"])
    pairs = [a / b for a, b in zip(wall["1"], wall["2"], strict=True)]
    print(f"  {'one core / two cores':<34}{median(pairs):6.2f}   [{min(pairs):.2f} to {max(pairs):.2f}]   above 1 when both are used")


def colours(folder: Path) -> None:
    """Colour error over that of rounding alone, on the single-piece scene."""
    file = folder / "gannet" / "gannet.toml"
    scene = load_scene(file if file.exists() else photo_scene("gannet", folder)[0])
    print("\ncolour error / that of rounding to 8 bits, mean ΔE76")
    worst = 0.0
    for stain in ("natural", *STAINS, "black"):
        value, drawn, rounded = colour_error(scene, stain)
        worst = max(worst, value)
        print(f"  {stain:<34}{value:6.3f}   ({drawn:.3f} / {rounded:.3f})")
    print(f"  {'the worst':<34}{worst:6.3f}   at most 1.1{'' if worst <= 1.1 else '   MISSED'}")


def start_up(rounds: int) -> None:
    """Help against a bare start of the command-line library."""
    def run(*words: str) -> Callable[[], object]:
        return lambda: subprocess.run([sys.executable, *words], check=True, stdout=subprocess.DEVNULL)

    wall, _ = interleaved({"click": run("-c", "import click"), "help": run("-m", "mockup", "--help"),
                           "import": run("-c", "import mockup.cli")}, rounds)
    print("\nstart-up: " + ", ".join(f"{k} {median(v) * 1000:.0f} ms" for k, v in wall.items()))
    ratio("mockup --help / import click", wall["help"], wall["click"], 3)
    ratio("import mockup.cli / import click", wall["import"], wall["click"], 3)


if __name__ == "__main__":
    main()
