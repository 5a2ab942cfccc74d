"""How fast the bench page answers, in a real browser: ``python -m tests.bench --page``.

From a slider's event in the page to the frame that shows its picture, at
1600 x 700 pixels; of a drag, pictures a second; from the command to the first
picture. The browser is started before the clock. Beside them stands how long
the same picture takes in this process, with nothing around it: their ratio
says what page, server and browser add, whatever else the machine does.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

__all__ = ["page"]

VIEW = (1600, 700)  # of the picture
ROUNDS = 40
ON_PAGE = """async ([key, values]) => {
    const input = document.querySelector(`input[data-key="${CSS.escape(key)}"]`);
    const times = [];
    for (const value of values) {
        const shown = new Promise((done) => {
            const seen = bench.stage.sent;
            const told = (event) => { if (event.detail.seq > seen && !event.detail.exact) { bench.stage.canvas.removeEventListener("shown", told); done(); } };
            bench.stage.canvas.addEventListener("shown", told);
        });
        const start = performance.now();
        input.value = value;
        input.dispatchEvent(new Event("input", {bubbles: true}));
        await shown;
        times.push(performance.now() - start);
        await new Promise((done) => setTimeout(done, 15));
    }
    input.dispatchEvent(new Event("change", {bubbles: true}));
    return times;
}"""
DRAG = """async (seconds) => {
    let shown = 0;
    const count = () => { shown += 1; };
    bench.stage.canvas.addEventListener("shown", count);
    const start = performance.now();
    const [x, y] = bench.wood.place.at;
    let moves = 0;
    while (performance.now() - start < seconds * 1000) {
        const t = (performance.now() - start) / 300;
        bench.wood.dragging = true;
        bench.wood.set([x + 6 + 6 * Math.sin(t), y + 4 * Math.sin(1.3 * t)], bench.wood.place.turn, false);
        moves += 1;
        await new Promise(requestAnimationFrame);
    }
    bench.wood.dragging = false;
    bench.stage.canvas.removeEventListener("shown", count);
    await bench.wood.set([x, y], bench.wood.place.turn, true);
    return [shown, moves, (performance.now() - start) / 1000];
}"""


def page(scene: str = "tern") -> None:
    """Measure and print."""
    from playwright.sync_api import sync_playwright

    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if chromium is None:
        sys.exit("there is no Chromium on this machine")
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as play:
        browser = play.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        context = browser.new_context(viewport={"width": VIEW[0], "height": VIEW[1] + 424})
        tab = context.new_page()
        tab.goto("about:blank")
        start = time.perf_counter()
        run = subprocess.Popen([sys.executable, "-m", "mockup", "bench", scene, "--no-open"], cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
                               text=True, env={**os.environ, "PYTHONPATH": str(Path(__file__).resolve().parents[2])})
        try:
            address = run.stdout.readline().strip()
            said = time.perf_counter() - start
            tab.goto(address)
            tab.wait_for_function("() => document.querySelector('#picture[data-shown]')", timeout=60_000)  # looks every frame
            first = time.perf_counter() - start
            tab.wait_for_function("() => document.querySelector('#picture[data-exact=true]')", timeout=60_000)  # looks every frame
            exact = time.perf_counter() - start
            width, height = tab.evaluate("() => [document.getElementById('picture').width, document.getElementById('picture').height]")
            print(f"\nbench page, {scene}, picture {width} x {height}, load {os.getloadavg()[0]:.1f}")
            print(f"  from the command: address {said:.2f} s, first picture {first:.2f} s (at most 2), every pixel {exact:.2f} s")
            tab.wait_for_function("() => bench.quiet", timeout=60_000)
            alone = _alone(scene, (width, height))
            steps = [str(round(0.2 + 0.6 * ((n * 7) % ROUNDS) / ROUNDS, 2)) for n in range(ROUNDS)]
            for station, key, values in (("stain", "0 stain strength", steps), ("sheen", "sheen", [str(10 + (n * 17) % 80) for n in range(ROUNDS)])):
                tab.locator(f"#{station} h2 button").click()
                tab.wait_for_timeout(300)
                if station == "stain" and not tab.locator(f'[data-key="{key}"]').count():  # bare wood: stain it first
                    tab.get_by_role("button", name="Add a step").click()
                    tab.wait_for_function("() => bench.quiet")
                times = sorted(tab.evaluate(ON_PAGE, [key, values])[5:])
                half, most = median(times), times[int(len(times) * 0.95)]
                base = alone[station]
                print(f"  {station} slider to screen: median {half:.0f} ms, 95 % {most:.0f} ms   at most 100 and 200;"
                      f"   the picture alone {base:.0f} ms, ratio {half / base:.2f}")
                tab.wait_for_function("() => bench.quiet", timeout=60_000)
            tab.locator("#wood h2 button").click()
            tab.wait_for_function("() => bench.quiet", timeout=60_000)
            shown, moves, seconds = tab.evaluate(DRAG, 4)
            print(f"  drag of the board: {shown / seconds:.1f} pictures a second of {moves / seconds:.0f} moves   at least 12;   the picture alone {1000 / alone['drag']:.1f} a second")
        finally:
            run.terminate()
            run.wait(20)
            browser.close()


def _alone(scene: str, size: tuple[int, int]) -> dict[str, float]:
    """Milliseconds of the same pictures in this process, medians."""
    from mockup.bench.easel import Seen, draw, encoded
    from mockup.bench.tries import Try, tried, with_part
    from mockup.render.kept import Kept
    from mockup.render.picture import MARGIN, scene_box
    from mockup.scene.load import load_scene

    loaded = load_scene(scene)
    view = loaded.with_variant(loaded.variants[0].name)
    part = next(p for p in view.parts if p.name in ("top", "body") and p is [q for q in view.parts if q.name in ("top", "body")][-1])
    x0, y0, x1, y1 = scene_box(view)
    scale = min(size[0] / (y1 - y0 + 2 * MARGIN), size[1] / (x1 - x0 + 2 * MARGIN))
    seen = Seen("front", (x0 - MARGIN, y0 - MARGIN), scale, size, True, (66.0, 0.0, 0.0))
    kept, out = Kept(), {}
    steps = [{"stain": "honey", "strength": 0.5}, {"coat": "oil varnish", "coats": 4}]
    tries = {"stain": lambda n: Try(steps=[{**steps[0], "strength": 0.2 + n / 50}, steps[1]]), "sheen": lambda n: Try(sheen=10 + 3 * n),
             "drag": lambda n: Try(at=(part.placement.at[0] + n / 4, part.placement.at[1]))}
    for name, make in tries.items():
        times = []
        for n in range(14):
            start = time.perf_counter()
            encoded(draw(with_part(view, tried(view, part, make(n))), seen, kept), exact=False)
            times.append(1000 * (time.perf_counter() - start))
        out[name] = median(times[2:])
    return out
