"""The client's page as a client uses it: on a phone, by keyboard, with JavaScript off; and its answer read back."""

import base64
import io
import json
import re
from dataclasses import replace
from urllib.parse import unquote

import numpy as np
import pytest
from PIL import Image

from mockup.cli import run
from mockup.files.picture import encode_picture
from mockup.papers.choice import Choice, choice_text, chosen_scene, read_choice
from mockup.papers.share_pictures import DARK
from mockup.render.picture import picture
from mockup.scene.load import load_scene

TITLES = ["Honey", "Blue", 'Green, "moss" & fern']
WIDTHS = [(360, 640), (768, 1024), (1280, 720), (2560, 1440)]


def shows(page, words):
    """Waits until the page says that it shows this: options and side."""
    page.wait_for_function("words => document.getElementById('stage').getAttribute('aria-label') === `Picture: ${words}`", arg=words, timeout=15000)
    return True


def says(page, place, words):
    """Waits until a place holds just these words."""
    page.wait_for_function("([place, words]) => [...document.querySelectorAll(place)].filter((e) => e.checkVisibility()).map((e) => e.textContent).join('|') === words",
                           arg=[place, words], timeout=15000)
    return True


def touch(page, *steps, pause=0):
    """Fingers put down, moved and lifted: each step is a list of (x, y), in pixels of the page."""
    session = page.context.new_cdp_session(page)
    for n, points in enumerate(steps):
        session.send("Input.dispatchTouchEvent", {"type": "touchStart" if n == 0 else "touchMove",
                                                  "touchPoints": [{"x": x, "y": y, "id": k} for k, (x, y) in enumerate(points)]})
        if pause:
            page.wait_for_timeout(pause)
    session.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})


def stage(page):
    return page.locator("#stage").bounding_box()


def swipe(page, by, *, rest=False):
    """A finger across the stage; with a rest before it is lifted, so that the browser sees no flick to be stopped by the next tap."""
    page.locator("#stage").scroll_into_view_if_needed()
    box = stage(page)
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    touch(page, *[[(x + by * k / 5, y)] for k in range(6)], *([[(x + by, y)]] * 8 if rest else []), pause=40 if rest else 0)
    page.wait_for_timeout(350)


def shot(page, **clip):
    page.wait_for_timeout(50)
    return np.asarray(Image.open(io.BytesIO(page.screenshot(clip=clip or None))).convert("RGB")).astype(int)


def zoom(page):
    return float(re.search(r"scale\(([\d.]+)\)", page.evaluate("document.querySelector('.sheet').style.transform"))[1])


# -- on a phone ------------------------------------------------------------------


def test_swipe_from_option_to_option(open_page):
    page = open_page()
    assert shows(page, "Honey, front")
    swipe(page, -200)
    assert shows(page, "Blue, front")
    assert says(page, "#say", "Blue, front")
    assert page.locator(".option:visible h2").all_inner_texts() == ["Blue"]
    swipe(page, -200)
    swipe(page, -200)  # the last one stays
    assert shows(page, f"{TITLES[2]}, front")
    swipe(page, 200)
    assert shows(page, "Blue, front")
    swipe(page, 20)    # too little to mean it
    assert shows(page, "Blue, front")
    page.tap("button[data-side=back]")
    assert shows(page, "Blue, back")
    assert page.told == []


def test_two_fingers_enlarge_and_one_moves(open_page):
    page = open_page()
    box = stage(page)
    x, y = box["x"] + 180, box["y"] + 200
    touch(page, [(x - 30, y), (x + 30, y)], [(x - 60, y), (x + 60, y)], [(x - 90, y), (x + 90, y)])
    assert zoom(page) == pytest.approx(3, abs=0.2)
    before = page.locator(".sheet").first.bounding_box()
    touch(page, [(x, y)], [(x - 20, y + 15)], [(x - 40, y + 30)])
    after = page.locator(".sheet").first.bounding_box()
    assert (after["x"] - before["x"], after["y"] - before["y"]) == pytest.approx((-40, 30), abs=1)
    assert shows(page, "Honey, front"), "no swipe while it is enlarged"
    page.click("#whole")  # not tapped: a tap right after a flick only stops the flick
    page.wait_for_function("() => document.querySelector('.sheet').style.transform.includes('scale(1)')", timeout=15000)
    for _ in range(6):  # a busy machine may tap twice too slowly for a double tap
        touch(page, [(x, y)])
        touch(page, [(x, y)])
        page.wait_for_timeout(600)
        if zoom(page) == pytest.approx(3, abs=0.01):
            break
    assert zoom(page) == pytest.approx(3, abs=0.01)


def test_a_line_between_two(open_page):
    page = open_page()
    page.tap("#compare")
    assert page.locator(".tag:visible").all_inner_texts() == ["Honey", "Blue"]
    assert page.locator(".option:visible h2").all_inner_texts() == ["Honey", "Blue"]
    box = stage(page)

    def warm(share):
        """Red over blue at a share of the stage's width, at the height of the top."""
        x = box["x"] + share * box["width"]
        r, _, b = shot(page, x=x - 4, y=box["y"] + box["height"] * 0.62, width=8, height=8).mean(axis=(0, 1))
        return r - b

    assert warm(0.4) > 30 > -10 > warm(0.6)
    line = page.locator("#line").bounding_box()
    x, y = line["x"] + line["width"] / 2, line["y"] + 300
    touch(page, [(x, y)], [(x + 40, y)], [(x + 90, y)])
    assert page.get_attribute("#line", "aria-valuenow") == "75"
    assert warm(0.4) > 30 and warm(0.6) > 30
    page.select_option("#other", "2")
    assert shows(page, f"Honey and {TITLES[2]}, front")


@pytest.mark.parametrize("how", ["copied", "mailed"])
def test_choose_answer_approve_verify(open_page, shared, tmp_path, monkeypatch, capsys, how):
    page = open_page()
    page.tap("#copy")
    assert says(page, "#told", "Choose one of the options first.")
    swipe(page, -200, rest=True)
    page.tap(".take:visible")
    assert says(page, ".take", "Blue is your choice")
    page.tap("#copy")
    assert says(page, "#told", "Write your name, so that the maker knows whose choice it is.")
    assert page.evaluate("document.activeElement.id") == "name"
    page.fill("#name", "Kim Example")
    page.fill("#comment", "I'd love \"more\" blue\nat the edge \u2013 10 %?")
    assert says(page, "#told", "")
    if how == "copied":
        page.tap("#copy")
        assert says(page, "#done", "Copied. Paste it into a message to maker@example.org.")
        page.evaluate("document.getElementById('comment').value = ''")
        page.evaluate("document.getElementById('comment').maxLength = 100000")
        page.focus("#comment")
        page.keyboard.press("Control+V")
        text = page.input_value("#comment")
    else:
        head, text = page.get_attribute("#send", "href").split("&body=")
        assert unquote(head) == "mailto:maker@example.org?subject=My choice: Pipit"
        text = "\n".join(f"> {line}" for line in unquote(text).split("\r\n"))
        read = chosen_scene(load_scene(shared), read_choice(text))
        assert (read.scene.variant.name, read.choice.comment) == ("blue", "I'd love \"more\" blue at the edge \u2013 10 %?")
        return
    monkeypatch.chdir(tmp_path)
    (tmp_path / "mail.txt").write_text(text)
    assert run(["approve", str(shared), "--choice", "mail.txt"]) == 0
    record = json.loads((tmp_path / "pipit.blue.approval.json").read_text())
    assert record["choice"]["client"] == "Kim Example"
    assert record["choice"]["comment"] == "I'd love \"more\" blue at the edge \u2013 10 %?"
    assert record["choice"]["checked"] is True
    capsys.readouterr()
    assert run(["verify", "pipit.blue.approval.json", "--scene", str(shared)]) == 0


def test_what_fingers_must_hit_is_large_enough(open_page):
    """44 CSS pixels: WCAG 2.1, success criterion 2.5.5."""
    page = open_page()
    page.tap("#compare")
    small = page.evaluate("""[...document.querySelectorAll('button, select, input:not([type=radio]), textarea, .button, .radio, #line')]
        .filter((e) => e.checkVisibility({ visibilityProperty: true })).map((e) => [e.outerHTML.slice(0, 80), e.getBoundingClientRect()])
        .filter(([_, box]) => Math.min(box.width, box.height) < 44)""")
    assert small == []


# -- the text -------------------------------------------------------------------------

NASTY = ["plain", "", "curly \u201cquotes\u201d \u2018and\u2019 \u2013 dashes \u2014 \u2026", "\u00bd \ufb01ne \u2122 \u00b5m \u212b \u2460", "e\u0301 vs \u00e9 \u00c5\u00e9\u00ee",
         "\u65e5\u672c\u8a9e \u304c\u304b\u3099 \ud55c\uae00", "\u0e20\u0e32\u0e29\u0e32\u0e44\u0e17\u0e22 \u0939\u093f\u0928\u094d\u0926\u0940", "\u0627\u0644\u0639\u0631\u0628\u064a\u0629 \u05e2\u05d1\u05e8\u05d9\u05ea",
         "\U0001f600 \u2764\ufe0f 1\ufe0f\u20e3 \U0001f469\u200d\U0001f3ed", "\u0130stanbul \u1e9e \u03a3\u03c2", "a\u00a0b\tc\n\nd  e", "x" * 1000, "[my choice] For: me Check: 1234 [end of my choice]",
         "100 % & <b>?=+#/", "\U0001d400\U0001d7d8 \u2167 \u00b2"]


def test_the_page_writes_the_text_that_is_read(open_page, shared):
    """The same letter for letter as the program would write it: the check of both covers the same."""
    page = open_page()
    page.check("input[name=option][value='2']")
    for words in NASTY:
        name = " ".join(words.split())[:80] or "Kim"
        page.fill("#name", name)
        page.fill("#comment", words)
        text = page.input_value("#text")
        read = read_choice(text)
        assert (read.option, read.variant, read.checked) == (TITLES[2], "green", True)
        assert read.comment == " ".join(words.split())
        own = Choice(**{**{s: getattr(read, s) for s in Choice.__slots__}, "name": name, "comment": words})
        assert choice_text(own) == text


# -- without a script ------------------------------------------------------------------


def test_without_javascript_it_is_pictures_words_and_a_text_to_copy(open_page):
    page = open_page(viewport={"width": 360, "height": 640}, java_script_enabled=False)
    assert page.locator("h2:visible").all_inner_texts() == [*TITLES, "What you can count on"]
    assert page.locator("figcaption:visible").all_inner_texts() == ["Front", "Back"] * 3
    for n in range(6):
        picture = page.locator("img.light").nth(n)
        box = picture.bounding_box()
        assert box["width"] > 250 and box["x"] >= 0 and box["x"] + box["width"] <= 360
    assert page.locator("img.dark:visible, button:visible, form:visible, #stage:visible").count() == 0
    texts = page.locator("pre").all_inner_texts()
    assert [read_choice(t).variant for t in texts] == ["honey", "blue", "green"]
    body = unquote(page.locator(".plain a").nth(1).get_attribute("href").split("&body=")[1])
    assert read_choice(body.replace("Name:", "Name: Kim")).name == "Kim"
    # Pictures are drawn, not only there.
    page.locator("img.light").nth(2).scroll_into_view_if_needed()
    box = page.locator("img.light").nth(2).bounding_box()
    drawn = shot(page, x=box["x"], y=box["y"], width=box["width"], height=min(box["height"], 600))
    assert (drawn[..., 2] - drawn[..., 0] > 30).mean() > 0.05, "blue wood"


# -- by keyboard -------------------------------------------------------------------------


def test_everything_by_keyboard(open_page):
    page = open_page(viewport={"width": 1280, "height": 720})
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.id") == "stage"
    assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "solid"
    page.keyboard.press("ArrowRight")
    assert shows(page, "Blue, front")
    page.keyboard.press("f")
    assert shows(page, "Blue, back")
    page.keyboard.press("+")
    page.keyboard.press("+")
    larger = zoom(page)
    assert larger > 1.9
    before = page.locator(".sheet").nth(1).bounding_box()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowRight")
    after = page.locator(".sheet").nth(1).bounding_box()
    assert shows(page, "Blue, back") and (after["x"], after["y"]) != (before["x"], before["y"])
    page.keyboard.press("0")
    assert zoom(page) == 1

    reached = set()
    for _ in range(60):
        page.keyboard.press("Tab")
        name = page.evaluate("document.activeElement.id || document.activeElement.textContent.trim()")
        reached.add(name)
        if name == "compare" and page.get_attribute("#compare", "aria-pressed") == "false":
            page.keyboard.press("Enter")
        if name == "text":
            break
    assert reached >= {"Honey", "Blue", TITLES[2], "Front", "Back", "compare", "other", "turn", "dark", "smaller", "larger", "whole", "Choose Blue",
                       "name", "comment", "send", "copy", "text"}
    page.focus("#line")
    page.keyboard.press("ArrowLeft")
    assert page.get_attribute("#line", "aria-valuenow") == "48"
    page.keyboard.press("End")
    assert page.get_attribute("#line", "aria-valuetext").startswith("Blue on the left 98 %")
    page.keyboard.press("Escape")
    page.focus(".skip")
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    page.keyboard.press("Space")
    assert page.is_checked("input[name=option] >> nth=0")


# -- looks ---------------------------------------------------------------------------------


@pytest.mark.parametrize("size", WIDTHS, ids=lambda s: str(s[0]))
def test_nothing_is_cut_off_at_any_width(open_page, size):
    page = open_page(viewport={"width": size[0], "height": size[1]})
    for step in (None, "#compare", "#turn", "#turn"):
        if step:
            page.click(step)
        assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
        box, sheet = stage(page), page.locator(".sheet").first.bounding_box()
        assert sheet["x"] >= box["x"] - 1 and sheet["x"] + sheet["width"] <= box["x"] + box["width"] + 1
        assert sheet["y"] >= box["y"] - 1 and sheet["y"] + sheet["height"] <= box["y"] + box["height"] + 1
        assert max(sheet["width"] / box["width"], sheet["height"] / box["height"]) > 0.99, "as large as there is room"
    if size[0] >= 1280:
        tools = page.locator("#surround").bounding_box()
        assert tools["y"] + tools["height"] <= size[1], "the controls are in sight beside the picture"


def test_the_dark_surround_changes_the_surround_and_not_the_wood(open_page):
    page = open_page(viewport={"width": 768, "height": 1024})
    box = stage(page)
    light = shot(page, **box)
    page.click("#dark")
    assert "look lighter and stronger" in page.text_content("#surround")
    dark = shot(page, **box)
    middle = (slice(int(box["height"] * 0.45), int(box["height"] * 0.6)), slice(int(box["width"] * 0.42), int(box["width"] * 0.58)))
    assert np.abs(light[middle] - dark[middle]).max() == 0
    assert light[5].mean() == pytest.approx(219, abs=1) and dark[5].mean() == pytest.approx(52, abs=1)


def test_the_dark_surround_is_the_picture_on_dark_ground(open_page, shared):
    """Made smaller, with its edges between pixels: neither at the instrument nor at the picture's edge does the light ground shine through."""
    page = open_page(viewport={"width": 361, "height": 607})
    page.click("#dark")

    def looks():
        """Upright, and lying down."""
        for _ in range(2):
            page.click("#turn")
            page.evaluate("scrollTo(0, 0)")
            yield shot(page, **stage(page))

    found = list(looks())
    view = replace(load_scene(shared).with_variant("honey"), ground=DARK)
    wide, high = (int(page.get_attribute("img.light >> nth=0", side)) for side in ("width", "height"))
    truth = picture(view, side="front", scale=6.0, span=(0.5, 0.5)).pixels
    assert truth.shape == (high, wide, 3)
    truth = encode_picture(truth, ".png", px_per_mm=6)
    page.evaluate("""async (data) => {
        const [light, dark] = document.querySelectorAll('.sheet img');
        light.src = data; light.style.clipPath = 'none'; dark.remove();
        await light.decode();
    }""", f"data:image/png;base64,{base64.b64encode(truth).decode()}")
    for have, want in zip(found, looks(), strict=True):
        off = np.abs(have - want).max(axis=2)
        assert off.max() <= 20 and off.mean() < 1.5


def test_less_motion_when_asked_for(open_page):
    for motion, wanted in (("no-preference", True), ("reduce", False)):
        page = open_page(viewport={"width": 768, "height": 1024}, reduced_motion=motion)
        page.click(".tab >> nth=1")
        assert page.evaluate("document.querySelector('.pane').classList.contains('glide')") is wanted


@pytest.mark.parametrize("size", [(360, 640), (1280, 720)], ids=["phone", "desk"])
def test_axe_finds_nothing(open_page, size):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    page = open_page(viewport={"width": size[0], "height": size[1]})
    for steps in ((), ("#compare", "#dark", "#copy")) if size[0] < 1000 else (("#compare",),):
        for step in steps:
            page.click(step)
        found = axe.run(page).response["violations"]
        assert [(v["id"], v["nodes"][0]["html"][:100]) for v in found] == []


# -- safe ------------------------------------------------------------------------------------


def test_it_asks_for_nothing_and_runs_nothing_else(open_page, shared):
    page = open_page()
    page.tap("#compare")
    assert {u.split(":")[0] for u in page.asked} <= {"file", "data"}
    assert [u for u in page.asked if u.startswith("file")] == [(shared.parent / "pipit.share.html").as_uri()]
    assert page.told == []
    refused = page.evaluate("""new Promise((done) => {
        const found = [];
        document.addEventListener('securitypolicyviolation', (e) => { found.push(e.effectiveDirective); if (found.length === 3) done(found.sort()); });
        const script = document.createElement('script'); script.textContent = 'window.ran = true'; document.body.append(script);
        const style = document.createElement('style'); style.textContent = 'body { color: red }'; document.body.append(style);
        const image = new Image(); image.src = 'https://example.org/a.png'; document.body.append(image);
        setTimeout(() => done(found), 3000);
    })""")
    assert refused == ["img-src", "script-src-elem", "style-src-elem"] and page.evaluate("window.ran === undefined")

