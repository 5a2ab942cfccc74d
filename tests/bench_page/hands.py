"""What a maker's hands and eyes do on the bench page."""

import base64
import time
import tomllib
from contextlib import contextmanager
from pathlib import Path

import cv2
import numpy as np


@contextmanager
def until(what, seconds=10.0):
    """Wait until ``what()`` is true, after what is done inside."""
    yield
    end = time.monotonic() + seconds
    while not what():
        assert time.monotonic() < end, "waited too long"
        time.sleep(0.02)


def pixels(page):
    """What the canvas shows, (H, W, 3)."""
    data = page.evaluate("() => document.getElementById('picture').toDataURL('image/png').split(',')[1]")
    return cv2.imdecode(np.frombuffer(base64.b64decode(data), np.uint8), 1).astype(int)


def settled(page, act):
    """Do something, and wait until all that it leads to is done and drawn at every pixel."""
    act()
    page.wait_for_function("() => bench.quiet")


def slide(page, key, value):
    """Move a slider, known by its data-key, to a value, as a hand does: inputs on the way, then let go."""
    page.evaluate("""([key, value]) => {
        const input = document.querySelector(`input[data-key="${CSS.escape(key)}"]`);
        input.focus();
        input.value = value;
        input.dispatchEvent(new Event("input", {bubbles: true}));
        input.dispatchEvent(new Event("change", {bubbles: true}));
    }""", [key, value])


def opened(page, station):
    page.locator(f"#{station} h2 button").click()


def scene_of(path):
    return tomllib.loads(Path(path).read_text())
