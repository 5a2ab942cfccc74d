"""A client's page of the small instrument, drawn once, and a real browser to open it in."""

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


@pytest.fixture
def open_page(chromium, shared):
    """Opens the page in a context of its own; keeps what it asked for and complained of as ``page.asked`` and ``page.told``."""
    contexts = []

    def opened(**how):
        context = chromium.new_context(**(how or PHONE))
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
