"""The bench in a real browser: Chromium, driven as a maker's hands would."""

import base64
import re
import signal
from pathlib import Path

import cv2
import numpy as np
import pytest

from tests.bench_page.hands import opened, pixels, scene_of, settled, slide, until


def test_a_makers_afternoon(small_scene, running, visit, tmp_path, mockup):
    """Drop a photo, lay the top on it, stain it, compare, pin three, write the sheet, approve, check."""
    rng = np.random.default_rng(3)
    wood = cv2.GaussianBlur(rng.normal(0, 1, (900, 1300)).astype(np.float32), (0, 0), sigmaX=1.2, sigmaY=22)
    photo = np.clip(np.array([120, 160, 196]) * (1 + 1.1 * wood[..., None]), 0, 255).astype(np.uint8)
    cv2.imwrite(str(tmp_path / "my walnut.jpg"), photo)
    bench = running(small_scene)
    page = visit(bench)

    # A photo is dropped on the page; its corners are clicked.
    with page.expect_response(lambda r: "/api/measure" in r.url):
        page.evaluate("""async (data) => {
            const bytes = Uint8Array.from(atob(data), (c) => c.charCodeAt(0));
            const moved = new DataTransfer();
            moved.items.add(new File([bytes], "my walnut.jpg", {type: "image/jpeg"}));
            for (const kind of ["dragenter", "dragover", "drop"]) document.body.dispatchEvent(new DragEvent(kind, {dataTransfer: moved, bubbles: true, cancelable: true}));
        }""", base64.b64encode((tmp_path / "my walnut.jpg").read_bytes()).decode())
    page.get_by_text("The printed strips were not found by themselves").wait_for()
    sheet = page.locator("#sheetPhoto")
    box = sheet.bounding_box()
    for x, y in ((0.01, 0.01), (0.99, 0.01), (0.99, 0.99), (0.01, 0.99)):
        page.mouse.click(box["x"] + x * box["width"], box["y"] + y * box["height"])
    page.locator("#boardWide").fill("260")
    page.locator("#boardHigh").fill("180")
    page.get_by_role("button", name="Find the board between the corners").click()
    page.get_by_role("img", name="What was found in the photo").wait_for()
    page.locator("#woodName").fill("English walnut")
    page.get_by_role("button", name="Put it on the bench").click()
    page.locator("#photo").wait_for(state="hidden")
    page.get_by_role("button", name=re.compile("English walnut.*this very board")).wait_for()
    assert (small_scene.parent / "my-walnut.png").is_file() and (small_scene.parent / "my-walnut.toml").is_file()

    # The part is moved on it, by numbers and by hand.
    settled(page, lambda: (page.locator('[data-key="x"]').fill("150"), page.locator('[data-key="x"]').press("Enter")))
    assert page.locator('[data-key="x"]').input_value() == "150"
    spot = page.locator("#map").bounding_box()
    page.mouse.move(spot["x"] + spot["width"] / 2, spot["y"] + spot["height"] / 2)
    page.mouse.down()
    page.mouse.move(spot["x"] + spot["width"] / 2 - 12, spot["y"] + spot["height"] / 2, steps=4)
    settled(page, page.mouse.up)
    assert float(page.locator('[data-key="x"]').input_value()) < 149

    # Stain, then compare with what was saved.
    opened(page, "stain")
    before = pixels(page)
    settled(page, lambda: page.locator('select[data-key="0 stain dye"]').select_option("red"))
    settled(page, lambda: slide(page, "0 stain strength", "0.9"))
    assert np.abs(pixels(page) - before).mean() > 1
    page.locator("#other").select_option("saved")
    page.wait_for_selector("#picture[data-compared]")
    red = pixels(page)
    page.locator("#picture").focus()
    page.keyboard.down("c")
    assert np.abs(pixels(page) - red).mean() > 1
    page.locator("#which").get_by_text("as it was saved").wait_for()
    page.keyboard.up("c")
    assert np.array_equal(pixels(page), red)
    page.locator("#splitting").check()
    page.locator("#split").fill("50")
    cut = pixels(page)
    half = cut.shape[1] // 2
    assert np.array_equal(cut[:, :half - 4], red[:, :half - 4]) and np.abs(cut[:, half + 4:] - red[:, half + 4:]).mean() > 0.5
    page.locator("#splitting").uncheck()

    # Three looks are pinned.
    for name, strength in (("Strong", "1"), ("Middle", "0.5"), ("Faint", "0.2")):
        opened(page, "stain")
        settled(page, lambda s=strength: slide(page, "0 stain strength", s))
        opened(page, "beside")
        page.locator("#pinName").fill(name)
        page.locator("#pinWhy").fill(f"{name}, to choose from.")
        page.locator("#pin").click()
        page.locator(f'[data-key="title {name.lower()}"]').wait_for()
    page.locator('img[data-look="faint"][src^="blob:"]').wait_for()

    # The sheet, the approval, and whether it holds.
    opened(page, "approve")
    page.locator('select[data-key="approve look"]').select_option("middle")
    page.get_by_role("button", name="Sheet of all looks").click()
    page.get_by_role("link", name="pipit.sheet.pdf").wait_for()
    page.get_by_role("button", name="Approval to sign").click()
    page.get_by_role("button", name="Check pipit.middle.approval.json").click()
    page.get_by_text("Nothing changed").wait_for()
    papers = small_scene.parent / "papers"
    assert (papers / "pipit.sheet.pdf").read_bytes().startswith(b"%PDF")
    told = mockup("verify", papers / "pipit.middle.approval.json")
    assert told.returncode == 0 and "Nothing changed" in told.stdout + told.stderr

    page.get_by_role("button", name="Stop the bench").click()
    page.get_by_role("heading", name="The bench is stopped").wait_for()
    assert bench.process.wait(10) == 0
    saved = scene_of(small_scene)
    assert [v["title"] for v in saved["variants"].values()] == ["Honey", "Blue", "Strong", "Middle", "Faint"]
    assert saved["variants"]["middle"]["set"]["parts.top.finish"][0] == {"stain": "red", "strength": 0.5}
    assert not list(small_scene.parent.glob(".*")), "nothing is left behind"


def test_by_keyboard_alone(small_scene, running, visit):
    """Everything that is done above by hand, reached by Tab and done by keys, with the focus to be seen."""
    page = visit(running(small_scene))
    page.keyboard.press("Tab")
    assert page.evaluate("() => document.activeElement.className") == "skip"

    def to(test, most=120):
        for _ in range(most):
            page.keyboard.press("Tab")
            if page.evaluate(f"() => {{ const e = document.activeElement; return Boolean({test}); }}"):
                seen = page.evaluate("() => { const s = getComputedStyle(document.activeElement); return [s.outlineStyle, parseFloat(s.outlineWidth)]; }")
                assert seen[0] == "solid" and seen[1] >= 2, "the focus cannot be seen"
                return
        raise AssertionError(f"never reached: {test}")

    to("e.id === 'picture'")
    before = pixels(page)
    settled(page, lambda: page.keyboard.press("+"))
    settled(page, lambda: page.keyboard.press("ArrowLeft"))
    assert np.abs(pixels(page) - before).mean() > 1
    settled(page, lambda: page.keyboard.press("0"))
    to("e.name === 'part'")
    page.keyboard.press("ArrowDown")
    with until(lambda: page.evaluate("() => document.querySelector('[name=part]:checked').value") == "body"):
        pass
    to("e.closest('#stain h2')")
    page.keyboard.press("Enter")
    to("e.dataset.key === '0 stain strength'")
    settled(page, lambda: page.keyboard.press("ArrowRight"))
    to("e.textContent === 'Add a step'")
    settled(page, lambda: page.keyboard.press("Enter"))
    assert page.locator("#stain-work .step").count() == 3
    assert page.evaluate("() => document.activeElement.textContent") == "Add a step", "the focus stays where it was"
    settled(page, lambda: page.keyboard.press("Control+z"))
    assert page.locator("#stain-work .step").count() == 2
    settled(page, lambda: page.keyboard.press("Control+Shift+Z"))
    page.keyboard.press("Control+s")
    page.get_by_text("pipit.toml: saved").wait_for()
    assert len(scene_of(small_scene)["variants"]["honey"]["set"]["parts.body.finish"]) == 3


@pytest.mark.slow
def test_two_tabs_show_the_same_and_do_not_fight(small_scene, running, visit):
    bench = running(small_scene)
    one, two = visit(bench), visit(bench)
    for page in (one, two):
        opened(page, "sheen")
    slide(one, "sheen", "33")
    with until(lambda: two.locator('[data-key="sheen"]').input_value() == "33"):
        pass
    # A tab that has not heard of a change cannot undo it unseen.
    told = two.evaluate("""async () => {
        const answer = await fetch("/api/edit", {method: "POST", headers: {"x-bench": "1", "x-tab": "old"},
            body: JSON.stringify({do: "finish", look: "honey", part: "top", sheen: 5, version: 1})});
        return [answer.status, await answer.text()];
    }""")
    assert told[0] == 409 and "another tab" in told[1]
    two.locator("#undo").click()
    with until(lambda: one.locator('[data-key="sheen"]').input_value() == "80"):
        pass


@pytest.mark.slow
def test_the_file_changes_on_disk(small_scene, running, visit):
    page = visit(running(small_scene))
    opened(page, "sheen")
    text = small_scene.read_text()
    with until(lambda: page.locator('[data-key="sheen"]').input_value() == "40"):
        small_scene.write_text(text.replace("sheen = 80", "sheen = 40"))
    settled(page, lambda: slide(page, "sheen", "11"))
    small_scene.write_text(text.replace("sheen = 80", "sheen = 50"))
    page.get_by_text("was changed by another program, and you have changes of your own").wait_for()
    page.keyboard.press("Control+s")
    page.get_by_text("Choose whether to keep yours").wait_for()
    assert "sheen = 50" in small_scene.read_text()
    page.get_by_role("button", name="Keep mine, and save over it").click()
    page.get_by_text("pipit.toml: saved").wait_for()
    assert scene_of(small_scene)["variants"]["honey"]["set"]["parts.top.sheen"] == 11
    # A mistake made elsewhere is shown with its line, and goes when it is mended.
    good = small_scene.read_text()
    small_scene.write_text(good.replace("height = 40", "height = 4000"))
    line = good.splitlines().index("height = 40") + 1
    page.get_by_text(f"Line {line}:").wait_for()
    assert page.locator("pre .here").inner_text().split(None, 1) == [str(line), "height = 4000"]
    small_scene.write_text(good)
    page.locator("#stage").wait_for(state="visible")


@pytest.mark.slow
def test_a_part_off_its_board_is_put_right_on_the_page(small_scene, running, visit):
    """Nothing can be drawn, so the page says why, and has what it takes to mend it."""
    small_scene.write_text(small_scene.read_text().replace('cut = "bookmatch"', 'cut = "bookmatch"\nat = [5, 5]'))
    page = visit(running(small_scene), picture=False)
    page.locator("#notices").get_by_text(re.compile("parts.top.*board")).wait_for()
    page.get_by_role("button", name="Find five places").click()
    page.get_by_role("button", name=re.compile("^Place 1")).click()
    page.wait_for_selector("#picture[data-exact=true]")
    page.locator("#notices .notice").wait_for(state="detached")
    page.locator("#save").click()
    page.get_by_text("pipit.toml: saved").wait_for()
    assert scene_of(small_scene)["parts"]["top"]["at"] != [5, 5]


@pytest.mark.slow
def test_stopped_in_the_middle_of_a_drag(small_scene, running, visit):
    """The server dies under the hand: the page says so, and all but the last second is there again."""
    bench = running(small_scene)
    page = visit(bench)
    opened(page, "stain")
    for n in range(30):
        page.evaluate("""(v) => { const input = document.querySelector('input[data-key="0 stain strength"]'); input.focus();
            input.value = v; input.dispatchEvent(new Event("input", {bubbles: true})); }""", 0.1 + n / 100)
        page.wait_for_timeout(50)
    bench.process.send_signal(signal.SIGKILL)
    bench.process.wait(10)
    page.evaluate("""() => { const input = document.querySelector('input[data-key="0 stain strength"]');
        input.value = 0.9; input.dispatchEvent(new Event("input", {bubbles: true})); }""")
    page.get_by_role("heading", name="The bench does not answer any more").wait_for()
    again = running(small_scene)
    page = visit(again)
    page.get_by_role("button", name="Take it up").click()
    page.locator("#save:enabled").click()
    page.get_by_text("pipit.toml: saved").wait_for()
    strength = scene_of(small_scene)["variants"]["honey"]["set"]["parts.top.finish"][0]["strength"]
    assert 0.18 <= strength <= 0.4, "of a second and a half of movement at most the last second is lost"
    assert again.end() == 0


def test_a_drop_that_is_no_photo(shared, visit):
    page = visit(shared, picture=False)
    page.wait_for_function("() => globalThis.bench?.state")
    for name, data, words in (("big.jpg", None, "larger than 120 MB"), ("drawing.jpg", "%PDF-1.7", "a PDF, not a picture"), ("words.jpg", "just words " * 40, "words.jpg")):
        page.evaluate("""([name, text]) => {
            const moved = new DataTransfer();
            moved.items.add(text === null ? new File([new Uint8Array(200e6)], name) : new File([text], name));
            document.body.dispatchEvent(new DragEvent("drop", {dataTransfer: moved, bubbles: true, cancelable: true}));
        }""", [name, data])
        page.locator("#notices").get_by_text(words).wait_for()
        assert page.locator("#photo").is_hidden()
        page.get_by_role("button", name="I have read it").click()


@pytest.mark.slow
def test_a_full_disk_is_said_and_nothing_is_lost(small_scene, running, visit):
    resource = pytest.importorskip("resource")
    if not hasattr(resource, "prlimit"):
        pytest.skip("this system cannot limit the files of a running process")
    bench = running(small_scene)
    page = visit(bench)
    opened(page, "sheen")
    settled(page, lambda: slide(page, "sheen", "22"))
    before = small_scene.read_bytes()
    resource.prlimit(bench.process.pid, resource.RLIMIT_FSIZE, (100, resource.RLIM_INFINITY))  # no file may grow any more
    page.locator("#save").click()
    page.locator("#notices").get_by_text("The disk is full, so nothing was written").wait_for()
    settled(page, lambda: slide(page, "sheen", "23"))
    assert "not kept safe" in page.locator("#saved").inner_text()
    assert small_scene.read_bytes() == before
    resource.prlimit(bench.process.pid, resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
    page.locator("#save").click()
    page.get_by_text("pipit.toml: saved").wait_for()
    assert scene_of(small_scene)["variants"]["honey"]["set"]["parts.top.sheen"] == 23


@pytest.mark.slow
def test_an_interrupt_ends_it_quietly(small_scene, running, visit):
    bench = running(small_scene)
    page = visit(bench)
    assert bench.end() == 0
    page.get_by_role("heading", name="The bench does not answer any more").wait_for()
    assert bench.log.count("\n") == 1, bench.log


def test_a_port_in_use_is_said(small_scene, running):
    first = running(small_scene)
    port = first.base.rsplit(":", 1)[1]
    second = running(small_scene, "--port", port, cwd=small_scene.parent)
    assert second.base != first.base
    with until(lambda: f"Port {port} is in use" in second.log):
        pass
    # An interrupt while the engine still starts ends it like any other command.
    assert second.end() in (0, 130) and first.end(signal.SIGTERM) in (0, 143)


@pytest.mark.slow
def test_a_built_in_scene_is_copied_when_it_is_saved(running, visit, tmp_path):
    bench = running("gannet")
    page = visit(bench)
    page.get_by_text("Built in: saving makes a copy").wait_for()
    page.locator("#save").click()
    page.get_by_text("gannet.toml: saved").wait_for()
    assert (tmp_path / "gannet" / "gannet.toml").read_text() == (Path(__file__).parents[2] / "scenes/gannet/gannet.toml").read_text()
    assert (tmp_path / "gannet" / "gannet.svg").is_file()


def test_nothing_serious_for_people_who_do_not_see_or_point(shared, visit):
    """axe-core over every step of the work, the dialogs, the surrounds, three widths."""
    import axe_playwright_python

    script = (Path(axe_playwright_python.__file__).parent / "axe.min.js").read_text()
    page = visit(shared)
    page.evaluate(script)
    found = []

    def look(where):
        told = page.evaluate("() => axe.run(document, {resultTypes: ['violations']})")
        found.extend((where, v["id"], v["impact"], [n["html"][:120] for n in v["nodes"][:3]]) for v in told["violations"] if v["impact"] in ("serious", "critical"))

    for station in ("wood", "stain", "coats", "sheen", "beside", "approve"):
        opened(page, station)
        look(station)
    for surround in ("dark", "light"):
        page.locator("#surround").select_option(surround)
        page.wait_for_timeout(200)
        look(surround)
    page.locator("#ruler").click()
    look("ruler")
    page.locator("#ruleLeave").click()
    photo = cv2.imencode(".png", np.random.default_rng(5).integers(60, 200, (300, 420, 3), np.uint8))[1].tobytes()
    opened(page, "wood")
    page.locator('#wood-work input[type="file"]').set_input_files({"name": "board.png", "mimeType": "image/png", "buffer": photo})
    page.get_by_text("The printed strips were not found").wait_for()
    page.get_by_role("button", name="Set a mark in the middle").click()
    look("photo")
    mark = page.get_by_role("button", name="Corner 1, top left")
    mark.focus()
    before = mark.bounding_box()["x"]
    page.keyboard.press("Shift+ArrowLeft")
    assert mark.bounding_box()["x"] < before - 5, "a mark moves by keys"
    page.get_by_role("button", name="Leave it").click()
    for width in (360, 2560):
        page.set_viewport_size({"width": width, "height": 900})
        page.wait_for_timeout(300)
        look(width)
        wide = page.evaluate("() => document.documentElement.scrollWidth")
        assert wide <= width, f"at {width} the page is {wide} wide"
    assert found == []


@pytest.mark.slow
def test_the_wood_follows_the_hand(small_scene, running, visit):
    """Wood dragged in the large picture moves with the pointer: the same spot of the board stays under it."""
    page = visit(running(small_scene))
    page.locator('input[name="part"][value="body"]').check()
    page.get_by_label("Drag the wood in the large picture").check()
    before = page.evaluate("() => bench.wood.place.at")
    view = page.evaluate("() => bench.stage.view")
    box = page.locator("#picture").bounding_box()
    # Under the outline of the body, beside the top: lying, the drawing's y runs right and its x up.
    x, y = (box["x"] + box["width"] / 2 + (25 - view["u"]) * view["s"], box["y"] + box["height"] / 2 + (-50 - view["v"]) * view["s"])
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 8 * view["s"], y - 5 * view["s"], steps=5)
    settled(page, page.mouse.up)
    after = page.evaluate("() => bench.wood.place.at")
    assert abs((after[0] - before[0]) - -5) < 0.6 and abs((after[1] - before[1]) - -8) < 0.6
    assert [round(v, 2) for v in scene_of(small_scene).get("parts", {})["body"].get("at", [])] == [], "not saved unasked"


@pytest.mark.slow
def test_the_picture_is_true_to_size(shared, visit):
    """100 mm on the ruler's bar are 100 mm of the instrument."""
    page = visit(shared)
    page.locator("#ruler").click()
    page.evaluate("() => { const bar = document.getElementById('barLength'); bar.value = 500; bar.dispatchEvent(new Event('input')); }")
    assert page.locator("#bar").bounding_box()["width"] == 500
    settled(page, lambda: page.locator("#ruleDone").click())
    page.locator("#surround").select_option("light")
    page.wait_for_timeout(900)
    shown = pixels(page)
    # The body of the small scene is 84.6 mm wide where it is widest; lying, that is its height in the picture.
    ground = np.median(shown[:, :30].reshape(-1, 3), axis=0)
    rows = np.nonzero((np.abs(shown - ground).sum(axis=2) > 90).sum(axis=1) > 3)[0]
    from mockup.scene.load import load_scene

    x0, _, x1, _ = load_scene(shared.scene).parts[0].shape.bounds
    height = min((x1 - x0) * 5, shown.shape[0])
    assert abs((rows[-1] - rows[0] + 1) - height) <= 0.02 * height + 3
