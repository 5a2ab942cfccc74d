"""The files a scene is drawn from, changed by other programs while it is on the bench."""

import json
import os
import re
import shutil

import cv2
import numpy as np
import pytest

from mockup.bench.changes import change_of
from mockup.bench.document import Document
from mockup.bench.service import Bench
from mockup.bench.watch import Watch, files_named
from mockup.errors import MockupError
from mockup.scene.places import shop_files
from tests.bench_page.hands import opened, pixels, settled, slide

SEEN = {"side": "front", "origin": [-20, -20], "scale": 1.0, "size": [140, 160], "lying": False, "exact": True, "look": None}


@pytest.fixture
def bench(small_scene):
    """A bench whose scene has, besides, a stain of its own, and what lies beside a board."""
    stain = small_scene.parent / "mine.toml"
    from mockup.scene.library import stains

    stain.write_bytes(stains()["amber"].file.read_bytes())
    small_scene.write_text(small_scene.read_text().replace('mm_per_pixel = 0.25\nwood = "flame maple"\nactual = true', "").replace('stain = "walnut brown"', 'stain = "mine.toml"'))
    (small_scene.parent / "flame.toml").write_text('mm_per_pixel = 0.25\nwood = "flame maple"\nactual = true\n')
    made = Bench(Document.open(small_scene), small_scene.parent)
    yield made
    made.stop()


def drawn(bench):
    data, _ = bench.picture("t", SEEN).result(60)
    return cv2.imdecode(np.frombuffer(data, np.uint8), 1).astype(int)


def looked(bench):
    """Look until what was changed is taken up: a file that is perhaps still being written waits for the second look."""
    bench.look()
    bench.look()
    return bench.state()


def written(path, text):
    """As many programs do it: another file in the same place."""
    new = path.with_name("new.tmp")
    new.write_text(text)
    os.replace(new, path)


def redrawn(bench):
    fresh = Bench(Document.open(bench.document.file), bench.home)
    try:
        return drawn(fresh)
    finally:
        fresh.stop()


def darker(path):
    picture = cv2.imread(str(path))
    cv2.imwrite(str(path), (picture * 0.6).astype(np.uint8))


def wider(path):
    path.write_text(path.read_text().replace('rx="27"', 'rx="34"'))


CHANGES = {
    "pipit.svg": wider, "flame.jpg": darker,
    "flame.toml": lambda p: written(p, p.read_text().replace("0.25", "0.3")),
    "mine.toml": lambda p: written(p, re.sub(r"absorb = \[[^]]*\]", "absorb = [3.0, 0.1, 0.1]", p.read_text())),
}


@pytest.mark.parametrize("name", CHANGES)
def test_a_file_that_changes_is_drawn_anew_and_nothing_is_lost(bench, name):
    document = bench.document
    document.edit(change_of(document.scene(), document.text, {"do": "finish", "part": "top", "look": None, "sheen": 33}), tab="t", base=1)
    mine, before = document.text, drawn(bench)
    state = looked(bench)
    assert (state["files"], state["heard"], state["troubles"]) == (0, 0, [])
    CHANGES[name](document.file.parent / name)
    state = looked(bench)
    assert state["said"] == f"{name} changed on disk: drawn anew." and state["files"] == state["heard"] == 1 and not state["troubles"]
    assert document.text == mine and document.dirty and (drawn(bench) != before).any()
    document.save()
    assert np.array_equal(drawn(bench), redrawn(bench))
    assert document.undo("t") and "sheen = 80" in document.text and document.redo("t") and document.text == mine
    assert looked(bench)["heard"] == 1, "once"


@pytest.mark.parametrize("name, harm, words", [
    ("pipit.svg", lambda p: p.write_text("<svg"), "SVG"),
    ("pipit.svg", lambda p: p.unlink(), "does not exist"),
    ("pipit.svg", lambda p: written(p, p.read_text().replace('id="top"', 'id="lid"')), 'no outline with the id "top"'),
    ("flame.jpg", lambda p: p.write_bytes(p.read_bytes()[:9000]), "cut off or damaged"),
    ("flame.jpg", lambda p: p.unlink(), "does not exist"),
    ("flame.toml", lambda p: p.write_text("mm_per_pixel = 0\n"), "mm_per_pixel"),
    ("mine.toml", lambda p: p.write_text("words = 3\n"), "mine.toml"),
], ids=lambda v: v if isinstance(v, str) else "")
def test_a_file_that_is_broken_leaves_what_was_there_till_it_is_mended(bench, name, harm, words):
    document, file = bench.document, bench.document.file.parent / name
    for n in (33, 44):
        document.edit(change_of(document.scene(), document.text, {"do": "finish", "part": "top", "look": None, "sheen": n}), tab="t", base=document.version)
    drawn(bench)
    looked(bench)
    good, text = file.read_bytes(), document.text
    harm(file)
    state = looked(bench)
    said, = state["troubles"]
    assert said.startswith(f"{name} changed on disk and cannot be drawn as it is now") and words in said and "\n" not in said
    assert state["files"] == 0 and state["parts"] and not state["problems"], "the page has what it had"
    # What was done before can be taken back and made again, and what is not saved is still there.
    for step, sheen in ((document.undo, "33"), (document.undo, "80"), (document.redo, "33"), (document.redo, "44")):
        assert step("t") and f"sheen = {sheen}" in document.text and not bench.state()["problems"]
    assert document.text == text and document.dirty
    # No paper is written of it.
    with pytest.raises(MockupError, match="cannot be drawn"):
        bench.papers("t", {"kind": "approval", "look": "blue"}).result(60)
    assert not (bench.folder / "papers").exists()
    file.write_bytes(good)
    state = looked(bench)
    assert state["troubles"] == [] and state["files"] == 1
    document.save()
    assert np.array_equal(drawn(bench), redrawn(bench))


def test_a_photo_that_is_gone_is_said_and_is_no_offence(bench):
    drawn(bench)
    (bench.document.file.parent / "flame.jpg").unlink()
    for _ in range(2):
        with pytest.raises(MockupError, match="does not exist") as told:
            drawn(bench)
        assert bench.state()["troubles"] == [str(told.value)], "in the words that are on the page"
    assert looked(bench)["troubles"] == [str(told.value)]


def test_a_scene_that_opens_broken_is_drawn_when_its_drawing_is_mended(small_scene):
    drawing = small_scene.parent / "pipit.svg"
    good = drawing.read_text()
    drawing.unlink()
    bench = Bench(Document.open(small_scene), small_scene.parent)
    assert looked(bench)["problems"]
    drawing.write_text(good.replace('id="top"', 'id="lid"'))
    assert 'the id "top"' in looked(bench)["problems"][0]["found"]
    drawing.write_text(good)
    state = looked(bench)
    assert not state["problems"] and not state["troubles"] and state["parts"]
    bench.stop()


def test_what_a_scene_that_is_mended_elsewhere_lacked_is_not_said_any_more(bench):
    """The id is another in the drawing, and then in the scene, too."""
    document = bench.document
    looked(bench)
    drawing = document.file.parent / "pipit.svg"
    drawing.write_text(drawing.read_text().replace('id="top"', 'id="lid"'))
    assert looked(bench)["troubles"]
    document.file.write_text(document.text.replace("svg#top", "svg#lid"))
    state = looked(bench)
    assert state["troubles"] == [] and not state["problems"]


def test_the_shops_file(bench):
    shop = bench.document.file.with_name("pipit.shop.toml")
    looked(bench)
    shop.write_text("kerf = 2\n")
    state = looked(bench)
    assert state["said"] == "pipit.shop.toml changed on disk: what you write from now on goes by it." and state["files"] == 0
    shop.write_text("kerf = 2000\n")
    said, = looked(bench)["troubles"]
    assert said.startswith("pipit.shop.toml changed on disk and cannot be used as it is now") and "2000" in said
    shop.unlink()
    assert looked(bench)["troubles"] == []


def test_a_file_that_is_only_touched_or_still_written_is_not_said(small_scene):
    drawing, watch = small_scene.parent / "pipit.svg", Watch()
    files = files_named(small_scene.read_text(), small_scene).union(shop_files(small_scene))
    assert {"pipit.svg", "flame.jpg", "flame.toml", "flame.dip.png", "pipit.shop.toml", "shop.toml"} <= {p.name for p in files} and small_scene not in files
    assert watch.look(files) == ()
    shutil.copy(drawing, small_scene.parent / "copy.svg")
    os.replace(small_scene.parent / "copy.svg", drawing)
    os.utime(drawing, (1, 1))
    assert watch.look(files) == () == watch.look(files)
    text = drawing.read_text()
    drawing.write_text(text[:60])
    assert watch.look(files) == ()
    drawing.write_text(text + "\n")
    assert watch.look(files) == (), "it has grown since"
    assert watch.look(files) == (drawing,) and watch.look(files) == ()
    drawing.unlink()
    assert watch.look(files, now=True) == (drawing,)


def test_a_look_costs_next_to_nothing(bench):
    import time

    looked(bench)
    begun = time.thread_time()
    for _ in range(20):
        bench.look()
    assert (time.thread_time() - begun) / 20 < 0.004  # some 0.6 ms: 0.1 % of a core at a look in 0.75 s


def test_no_name_leads_out_of_the_folder(small_scene):
    text = small_scene.read_text().replace("pipit.svg#body", "../../etc/passwd#body").replace("flame.jpg", "/etc/passwd")
    assert all(p.parent == small_scene.parent for p in files_named(text + '\n[x]\ny = "~/z"\n', small_scene))


def test_an_approval_is_of_the_files_as_they_are(bench):
    """Changed this very moment, before any look: the paper has it."""
    bench.papers("t", {"kind": "approval", "look": "blue"}).result(60)
    record = json.loads((bench.folder / "papers/pipit.blue.approval.json").read_text())
    wider(bench.document.file.parent / "pipit.svg")
    told = bench.papers("t", {"kind": "approval", "look": "blue"}).result(60)
    assert [f["name"] for f in told["files"]] == ["pipit.blue.2.approval.png", "pipit.blue.2.approval.json"]
    assert told["notes"] == ["An earlier approval of that name is there: it stays. This one is pipit.blue.2.approval.png."]
    after = json.loads((bench.folder / "papers/pipit.blue.2.approval.json").read_text())
    assert after["picture"]["sha256"] != record["picture"]["sha256"]
    assert bench.verify("t", {"record": told["files"][1]["id"]}).result(60)["unchanged"]


@pytest.mark.slow
def test_the_page_hears_of_it(small_scene, running, visit):
    """Drawn anew and said; broken, the picture stays and why is said; mended, all is well; and what was not saved is still there."""
    page = visit(running(small_scene))
    opened(page, "sheen")
    settled(page, lambda: slide(page, "sheen", "11"))
    page.wait_for_selector("#picture[data-exact=true]")
    before, drawing, told, notice = pixels(page), small_scene.parent / "pipit.svg", page.locator("#told"), page.locator("#notice-trouble")
    good = drawing.read_text()
    written(drawing, good.replace('rx="27"', 'rx="20"'))
    told.get_by_text("pipit.svg changed on disk: drawn anew.").wait_for()
    page.wait_for_function("() => bench.quiet")
    after = pixels(page)
    assert np.abs(after - before).max() > 40 and notice.count() == 0
    drawing.write_text(good[:200])
    notice.get_by_text(re.compile("^pipit.svg changed on disk and cannot be drawn as it is now")).wait_for()
    page.wait_for_function("() => bench.quiet")
    assert page.locator("#stage").is_visible() and np.array_equal(pixels(page), after)
    assert told.inner_text() == "" and notice.inner_text().count("pipit.svg") == 1 and "more" not in notice.inner_text()
    # It can be worked on meanwhile, and nothing is said twice.
    settled(page, lambda: slide(page, "sheen", "60"))
    settled(page, lambda: page.locator("#undo").click())
    assert np.array_equal(pixels(page), after) and page.locator("#notices .notice").count() == 1
    drawing.write_text(good)
    notice.wait_for(state="detached")
    page.wait_for_function("() => bench.quiet")
    assert np.array_equal(pixels(page), before)
    assert page.evaluate("() => [bench.state.dirty, bench.work.sheen]") == [True, 11]


@pytest.mark.slow
def test_another_photo_of_the_board_is_seen_everywhere(small_scene, running, visit):
    page = visit(running(small_scene))
    page.wait_for_function("() => bench.wood.boards.get(bench.wood.key)")
    opened(page, "beside")
    page.locator('img[data-look="blue"][src^="blob:"]').wait_for()
    photo, map_, look = small_scene.parent / "flame.jpg", "() => document.getElementById('map').toDataURL()", page.locator('img[data-look="blue"]').get_attribute("src")
    opened(page, "wood")
    page.wait_for_function("() => bench.quiet && !bench.wood.drawing")
    before, was = pixels(page), page.evaluate(map_)
    choice = page.locator('[data-key="board flame"] img').get_attribute("src")
    good = photo.read_bytes()
    darker(photo)
    page.locator("#told").get_by_text("flame.jpg changed on disk: drawn anew.").wait_for()
    page.wait_for_function("() => bench.quiet && bench.wood.boards.get(bench.wood.key) && !bench.wood.drawing")
    after = pixels(page)
    assert after.mean() < before.mean() - 2 and page.evaluate(map_) != was
    assert page.locator('[data-key="board flame"] img').get_attribute("src") != choice
    opened(page, "beside")
    page.wait_for_function("(was) => document.querySelector('img[data-look=\"blue\"]').src !== was", arg=look)
    # Gone: the picture stays, whatever is asked of it, with one sentence.
    photo.unlink()
    page.locator("#notice-trouble").get_by_text("flame.jpg changed on disk and cannot be drawn").wait_for()
    settled(page, lambda: page.locator("#nearer").click())
    assert page.locator("#notices .notice").count() == 1, page.locator("#notices").inner_text()
    page.reload()
    page.locator("#notice-trouble").get_by_text("flame.jpg changed on disk and cannot be drawn").wait_for()
    photo.write_bytes(good)
    page.locator("#notice-trouble").wait_for(state="detached")
    page.wait_for_function("() => bench.quiet")
    assert page.locator("#notices .notice").count() == 0
    assert np.array_equal(pixels(page), before)


@pytest.mark.slow
def test_an_approval_beside_an_earlier_one_is_said_and_a_title_that_is_taken_refused(small_scene, running, visit):
    page = visit(running(small_scene))
    opened(page, "approve")
    write = page.get_by_role("button", name="Approval to sign")
    write.click()
    page.get_by_role("link", name="pipit.honey.approval.png").wait_for()
    assert page.locator("#paperNotes").count() == 0
    opened(page, "sheen")
    settled(page, lambda: slide(page, "sheen", "11"))
    opened(page, "approve")
    write.click()
    page.get_by_role("link", name="pipit.honey.2.approval.png").wait_for()
    words = "An earlier approval of that name is there: it stays. This one is pipit.honey.2.approval.png."
    page.locator("#paperNotes").get_by_text(words).wait_for()
    page.locator("#told").get_by_text(words).wait_for()
    opened(page, "beside")
    title = page.locator('[data-key="title blue"]')
    title.fill("honey")
    settled(page, lambda: title.press("Enter"))
    assert page.locator("#notice-said").inner_text().startswith('There is a look called "Honey" already. Give this one another name.')
    assert title.input_value() == "Blue" and page.evaluate("() => document.activeElement.dataset.key") == "title blue"
