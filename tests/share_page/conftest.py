"""A client's page of the small instrument, drawn once, and a real browser to open it in."""

import os
import shutil

import pytest
from small_share import PHONE, make_scene

from mockup.papers.share import share_page
from mockup.scene.load import load_scene

@pytest.fixture(scope="module")
def shared(tmp_path_factory, board_jpeg):
    """The scene's path; the page lies beside it as ``pipit.share.html``. Not to be spoiled."""
    scene = make_scene(tmp_path_factory.mktemp("shared") / "pipit", board_jpeg)
    (scene.parent / "pipit.share.html").write_bytes(share_page(load_scene(scene), today="2026-11-25", mail="maker@example.org"))
    return scene


@pytest.fixture(scope="module")
def browser():
    """The system's Chromium."""
    sync_api = pytest.importorskip("playwright.sync_api")
    path = next((p for name in ("chromium", "chromium-browser", "google-chrome") if (p := shutil.which(name))), None)
    if path is None:
        pytest.skip("no Chromium on this machine: the client's page is not tried in a browser")
    # Its own sandbox does not start for root, as which a container runs its tests.
    sandbox = ["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []
    with sync_api.sync_playwright() as play:
        browser = play.chromium.launch(executable_path=path, args=sandbox)
        yield browser
        browser.close()


@pytest.fixture
def open_page(browser, shared):
    """Opens the page in a context of its own; keeps what it asked for and complained of as ``page.asked`` and ``page.told``."""
    contexts = []

    def opened(**how):
        context = browser.new_context(**(how or PHONE))
        contexts.append(context)
        page = context.new_page()
        page.asked, page.told = [], []
        page.on("request", lambda r: page.asked.append(r.url))
        page.on("console", lambda m: page.told.append(m.text))
        page.on("pageerror", lambda e: page.told.append(str(e)))
        page.goto((shared.parent / "pipit.share.html").as_uri())
        return page

    yield opened
    for context in contexts:
        context.close()
