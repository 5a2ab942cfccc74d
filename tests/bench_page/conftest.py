"""The bench on a small scene: as a document, behind its guard, and in a real browser."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import httpx2
import pytest

ROOT = Path(__file__).resolve().parents[2]


class Running:
    """A bench in a process of its own; ``address`` holds the key of this start."""

    def __init__(self, scene, cwd: Path, *more: str) -> None:
        self.cwd = cwd
        self.process = subprocess.Popen([sys.executable, "-m", "mockup", "bench", str(scene), "--no-open", *more], cwd=cwd, text=True,
                                        env={**os.environ, "PYTHONPATH": str(ROOT)}, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
                                        stderr=open(cwd / "bench.log", "w"),
                                        # What runs in the background of a shell ignores Ctrl-C, and so would its children.
                                        preexec_fn=None if os.name == "nt" else lambda: signal.signal(signal.SIGINT, signal.SIG_DFL))
        self.address = self.process.stdout.readline().strip()
        self.base = self.address.split("/?")[0]

    @property
    def log(self) -> str:
        return (self.cwd / "bench.log").read_text()

    def client(self) -> httpx2.Client:
        """A client with the page's own headers and the cookie of this start."""
        client = httpx2.Client(base_url=self.base, headers={"x-bench": "1", "origin": self.base, "x-tab": "test"}, timeout=60)
        client.get(self.address)
        return client

    def end(self, how=signal.SIGINT, wait=20) -> int:
        if self.process.poll() is None:
            self.process.send_signal(how)
        return self.process.wait(wait)


@pytest.fixture
def running(tmp_path):
    """Starts benches: running(scene, "--port", "9000"); all of them end with the test."""
    started = []

    def start(scene, *more, cwd=None) -> Running:
        started.append(Running(scene, cwd or tmp_path, *more))
        return started[-1]

    yield start
    for one in started:
        if one.process.poll() is None:
            one.process.kill()
        one.process.wait()


@pytest.fixture(scope="module")
def shared(tmp_path_factory, board_jpeg):
    """One bench for the tests that change nothing; ``scene`` is its file."""
    from tests.conftest import write_small

    scene = write_small(tmp_path_factory.mktemp("shared") / "pipit", board_jpeg)
    one = Running(scene, scene.parent.parent)
    one.scene = scene
    yield one
    one.end()


@pytest.fixture
def visit(chromium):
    """Opens pages: visit(running, width=1280); what their scripts stumble over fails the test."""
    contexts, faults = [], []

    def go(bench, *, width=1280, height=860, picture=True):
        context = chromium.new_context(viewport={"width": width, "height": height})
        context.set_default_timeout(30_000)
        contexts.append(context)
        page = context.new_page()
        page.on("pageerror", lambda error: faults.append(str(error)) if "does not answer" not in str(error) else None)
        page.goto(bench.address)
        if picture:
            page.wait_for_selector("#picture[data-exact=true]")
        return page

    yield go
    for context in contexts:
        context.close()
    assert faults == []


@pytest.fixture
def visit_file(chromium):
    """Opens files as a client does, on a phone and from nowhere: visit_file(path)."""
    contexts = []

    def go(path):
        contexts.append(chromium.new_context(viewport={"width": 390, "height": 800}))
        page = contexts[-1].new_page()
        page.goto(path.as_uri())
        return page

    yield go
    for context in contexts:
        context.close()
