"""Things that happen in an order nobody planned: one overtakes another, or comes twice, or in the middle of a third."""

import json
import threading

import cv2
import numpy as np
import pytest

from mockup.bench.changes import change_of
from mockup.bench.document import Document
from mockup.bench.service import Bench
from mockup.errors import MockupError
from tests.bench_page.hands import opened, pixels, scene_of, settled, slide


class Held:
    """Answers of an address that are kept back from now on, until ``let_go``."""

    def __init__(self, page, address, which=lambda request: True):
        self.page, self.routes, self.open = page, [], False
        page.route(address, lambda route: route.continue_() if self.open or not which(route.request) else self.routes.append(route))

    def wait(self, count=1):
        for _ in range(500):
            if len(self.routes) >= count:
                return
            self.page.wait_for_timeout(20)
        raise AssertionError("nothing was asked")

    def let_go(self):
        self.open = True
        while self.routes:
            self.routes.pop(0).continue_()


@pytest.mark.slow
def test_what_follows_a_slow_change_does_not_overtake_it(small_scene, running, visit):
    page = visit(running(small_scene))
    opened(page, "beside")
    title = page.locator('[data-key="title honey"]')
    title.wait_for()
    late = Held(page, "**/api/edit")
    # A name is typed, and the button pressed that takes it out of the field's hands.
    title.fill("Amber")
    page.locator("#save").click(force=True) if page.locator("#save").is_enabled() else page.keyboard.press("Control+s")
    late.wait()
    page.wait_for_timeout(400)
    late.let_go()
    page.get_by_text("pipit.toml: saved").wait_for()
    page.wait_for_function("() => bench.quiet")
    assert scene_of(small_scene)["variants"]["honey"]["title"] == "Amber"
    # A wood is chosen and taken back at once.
    late = Held(page, "**/api/edit")
    page.evaluate("() => { bench.edit({do: 'cut', part: 'top', cut: 'single'}); bench.step('undo'); }")
    late.wait()
    page.wait_for_timeout(400)
    late.let_go()
    page.locator("#redo", has_text="single").wait_for()
    page.wait_for_function("() => bench.quiet")
    assert page.evaluate("() => [bench.partState.cut, bench.lookState.title]") == ["bookmatch", "Amber"]


@pytest.mark.slow
def test_lamp_pictures_of_what_was_do_not_hide_what_is(small_scene, running, visit):
    page = visit(running(small_scene))
    opened(page, "sheen")
    settled(page, lambda: slide(page, "sheen", "20"))
    late = Held(page, "**/api/tilt")
    page.locator("#tilt").click()
    late.wait()
    page.locator("#nearer").click()
    late.let_go()
    page.wait_for_function("() => !document.getElementById('tilt').disabled && bench.quiet")
    assert page.evaluate("() => bench.stage.frames") is None, "of another view"
    page.locator("#tilt").click()
    page.wait_for_function("() => bench.stage.frames")
    settled(page, lambda: page.locator("#undo").click())
    assert page.evaluate("() => bench.stage.frames") is None, "of what was taken back"


def test_what_another_program_changes_is_drawn(small_scene, running, visit):
    page = visit(running(small_scene))
    before = pixels(page)
    with page.expect_response(lambda r: "/api/state" in r.url):
        small_scene.write_text(small_scene.read_text().replace("colour = [86, 1.5, 12], line = 0.4", "colour = [20, 40, 12], line = 0.4"))
    page.wait_for_function("() => bench.quiet")
    assert (np.abs(pixels(page) - before).max(-1) > 20).mean() > 0.001


def test_a_file_that_is_not_there_any_more_ends_nothing(shared, visit, tmp_path):
    page = visit(shared)
    page.wait_for_selector("#wood-work input[type=file]")
    photo = tmp_path / "gone.jpg"
    photo.write_bytes(b"x" * 5000)
    page.evaluate("() => { bench.photos.take = async (file) => { globalThis.one = file; }; }")
    page.locator("#wood-work input[type=file]").set_input_files(photo)
    page.wait_for_function("() => globalThis.one")
    photo.unlink()
    page.evaluate("() => { delete bench.photos.take; return bench.photos.take(globalThis.one); }")
    assert page.evaluate("() => document.body.dataset.ended") is None
    assert "gone.jpg" in page.locator("#notice-said").inner_text()


def test_enter_pins_once_and_shows_it(small_scene, running, visit):
    page = visit(running(small_scene))
    opened(page, "beside")
    late = Held(page, "**/api/edit")
    page.locator("#pinName").fill("Third")
    page.locator("#pinName").press("Enter")
    page.locator("#pinName").press("Enter")
    late.wait()
    page.wait_for_timeout(200)
    late.let_go()
    page.locator('[data-key="title third"]').wait_for(timeout=4000)
    page.wait_for_function("() => bench.quiet")
    assert page.locator(".lookcard").count() == 3
    assert page.evaluate("() => document.activeElement.id") == "pinName"


@pytest.mark.slow
def test_places_belong_to_their_board(small_scene, running, visit):
    page = visit(running(small_scene))
    page.locator('[data-key="find"]').click()
    page.locator('[data-key="place 0"]').wait_for()
    settled(page, lambda: page.locator('[data-key="wood walnut-1"]').click())
    assert page.locator('[data-key="place 0"]').count() == 0
    assert page.evaluate("() => document.activeElement !== document.body"), "the focus is not lost with what was chosen"


@pytest.mark.slow
def test_as_it_was_saved_means_this_look_and_the_last_saving(small_scene, running, visit):
    page = visit(running(small_scene))
    opened(page, "sheen")
    page.locator("#other").select_option("saved")
    page.wait_for_function("() => bench.stage.other?.bitmap && bench.quiet")
    asked = []
    page.on("request", lambda r: asked.append(json.loads(r.post_data)) if "/api/picture" in r.url else None)

    def wished():
        return [a for a in asked if a["name"] == "other"]

    settled(page, lambda: page.locator("#look").select_option("blue"))
    page.wait_for_timeout(300)
    assert wished() and wished()[-1]["look"] == "blue"
    settled(page, lambda: slide(page, "sheen", "5"))
    page.wait_for_timeout(300)
    asked.clear()
    settled(page, lambda: page.locator("#save").click())
    page.wait_for_timeout(300)
    assert wished()


@pytest.mark.slow
def test_the_focus_goes_with_what_is_moved_and_stays_near_what_is_gone(small_scene, running, visit):
    page = visit(running(small_scene))
    opened(page, "stain")
    page.locator('[data-key="stain-work kind"]').select_option("sand_back")
    settled(page, lambda: page.locator('[data-key="stain-work add"]').click())
    where = "() => document.activeElement.getAttribute('aria-label')"
    page.locator('#stain-work [data-key="0 stain Later"]').focus()
    settled(page, lambda: page.keyboard.press("Enter"))
    assert page.evaluate(where) == "Do later: honey, 60 %"
    settled(page, lambda: page.keyboard.press("Enter"))
    assert page.evaluate(where) == "Do earlier: honey, 60 %"  # it is the last one now
    page.locator('#stain-work [data-key="2 stain Take out"]').focus()
    settled(page, lambda: page.keyboard.press("Enter"))
    assert page.evaluate("() => Boolean(document.activeElement.closest('#stain-work'))")
    opened(page, "beside")
    page.locator('[data-key="Later honey"]').focus()
    settled(page, lambda: page.keyboard.press("Enter"))
    assert page.evaluate(where) == "Earlier: Honey"
    page.locator('[data-key="Take away blue"]').focus()
    settled(page, lambda: page.keyboard.press("Enter"))
    assert page.evaluate("() => Boolean(document.activeElement.closest('#beside-work'))")


@pytest.mark.slow
def test_a_field_left_empty_and_a_click_on_the_board_change_nothing(small_scene, running, visit):
    page = visit(running(small_scene))
    across = page.locator('[data-key="x"]')
    across.wait_for()
    page.wait_for_function("() => bench.quiet && bench.wood.boards.get(bench.wood.key)")
    was = across.input_value()
    across.fill("")
    settled(page, lambda: across.press("Tab"))
    assert page.locator("#undo").is_disabled() and page.locator("#notice-said").count() == 0
    assert page.locator('[data-key="x"]').input_value() == was
    for place in ("#map", "#jointHandle"):
        settled(page, lambda: page.locator(place).click())
    page.get_by_label("Drag the wood in the large picture").check()
    settled(page, lambda: page.locator("#picture").click())
    assert page.locator("#undo").is_disabled()
    page.locator("#map").click(button="right")
    page.mouse.move(100, 500)
    settled(page, lambda: page.keyboard.press("Escape"))
    assert page.locator("#undo").is_disabled() and page.evaluate("() => Boolean(bench.wood.dragging)") is False


@pytest.mark.slow
def test_a_change_of_another_tab_that_was_not_shown_yet_is_not_written_over(small_scene, running, visit):
    bench = running(small_scene)
    page = visit(bench)
    opened(page, "stain")
    late = Held(page, "**/api/state")
    version = page.evaluate("() => bench.version")
    told = bench.client().post("/api/edit", json={"do": "finish", "look": "honey", "part": "top", "version": version,
                                                  "steps": [{"stain": "blue", "strength": 0.9}, {"coat": "lacquer", "coats": 2}]})
    assert told.status_code == 200
    page.evaluate("() => bench.edit({do: 'name', look: 'blue', why: 'Cold.'}) && null")
    late.wait()
    page.wait_for_timeout(300)
    page.evaluate("() => { bench.finish.move(0, 1); }")
    page.wait_for_timeout(300)
    late.let_go()
    page.locator("#notice-said", has_text="another tab").wait_for()
    page.wait_for_function("() => bench.quiet")
    assert page.evaluate("() => bench.work.steps[0].stain") == "blue"


@pytest.mark.slow
def test_a_late_colour_of_another_look_is_dropped(small_scene, running, visit):
    page = visit(running(small_scene))
    late = Held(page, "**/api/colour", lambda r: '"look":"honey"' in r.post_data)
    page.evaluate("() => bench.colour(false)")
    late.wait()
    with page.expect_response(lambda r: "/api/colour" in r.url and '"look":"blue"' in r.request.post_data):
        page.locator("#look").select_option("blue")
    page.wait_for_timeout(200)
    before = page.locator("#lab").inner_text()
    with page.expect_response(lambda r: "/api/colour" in r.url):
        late.let_go()
    page.wait_for_timeout(100)
    assert page.locator("#lab").inner_text() == before


@pytest.mark.slow
def test_taken_back_while_the_hand_rests_on_a_slider(small_scene, running, visit):
    page = visit(running(small_scene))
    opened(page, "stain")
    before = pixels(page)
    page.locator('[data-key="0 stain strength"]').evaluate("(i) => { i.focus(); i.value = 0; i.dispatchEvent(new Event('input', {bubbles: true})); }")
    page.wait_for_timeout(1800)
    page.wait_for_function("() => bench.quiet")
    assert np.abs(pixels(page) - before).mean() > 0.5
    settled(page, lambda: page.keyboard.press("Control+z"))
    assert page.evaluate("() => bench.work.steps[0].strength") == 0.6
    assert np.abs(pixels(page) - before).mean() < 0.1


@pytest.mark.slow
def test_what_was_refused_stays_said_though_it_is_saved(small_scene, running, visit):
    page = visit(running(small_scene))
    opened(page, "sheen")
    settled(page, lambda: slide(page, "sheen", "20"))
    page.evaluate("() => bench.wood.set([-5000, 0], 0, false)")
    settled(page, lambda: page.keyboard.press("Control+s"))
    page.get_by_text("pipit.toml: saved").wait_for()
    assert page.locator("#notice-said").count() == 1


def wooden(seed):
    """A PNG that passes for a board filling its photo."""
    grain = np.random.default_rng(seed).integers(90, 200, (300, 420, 1), np.uint8).repeat(3, 2)
    return cv2.imencode(".png", grain)[1].tobytes()


@pytest.mark.slow
def test_a_board_is_put_on_the_bench_once_and_is_never_that_of_another_tab(small_scene, running, visit):
    bench = running(small_scene)
    one, two = visit(bench), visit(bench)

    def measured(page, name, seed):
        page.locator('#wood-work input[type="file"]').set_input_files({"name": name, "mimeType": "image/png", "buffer": wooden(seed)})
        page.locator("#photo .warn").wait_for()
        page.evaluate("""async () => {
            bench.photos.corners = [[.02, .02], [.98, .02], [.98, .98], [.02, .98]];
            bench.photos.size = ["300", "200"];
            await bench.photos.measure(true);
        }""")
        page.locator("#woodName").fill("ash")

    measured(one, "first.png", 1)
    measured(two, "second.png", 2)
    one.locator('[data-key="keep"]').click()
    one.locator("#photo .warn", has_text="another tab").wait_for()
    assert not list(small_scene.parent.glob("first*"))
    two.evaluate("""() => { for (let n = 0; n < 2; n += 1) document.querySelector('[data-key="keep"]').click(); }""")
    two.locator("#photo").wait_for(state="hidden")
    two.wait_for_function("() => bench.quiet")
    assert len(list(small_scene.parent.glob("second*.toml"))) == 1


@pytest.mark.slow
def test_what_was_measured_of_a_photo_that_was_left_is_not_taken_for_the_next(shared, visit):
    page = visit(shared)
    file = page.locator('#wood-work input[type="file"]')
    late = Held(page, "**/api/measure")
    file.set_input_files({"name": "one.png", "mimeType": "image/png", "buffer": wooden(1)})
    late.wait()
    page.locator('[data-key="leave"]').click()
    file.set_input_files({"name": "two.png", "mimeType": "image/png", "buffer": wooden(2)})
    late.wait(2)
    late.routes.pop(0).fulfill(json={"size": [1, 1], "lab": [1, 2, 3], "findings": [], "done": [], "picture": "x"})
    page.wait_for_timeout(200)
    assert page.locator('[data-key="keep"]').count() == 0
    assert "Measuring" in page.locator("#photo p").first.inner_text()
    late.let_go()
    page.locator("#photo .warn").wait_for()


# -- on the server


def test_a_built_in_scene_is_copied_once(tmp_path, mockup):
    from mockup.bench.serve import open_document

    bench = Bench(open_document("tern", tmp_path), tmp_path)
    both = [threading.Thread(target=bench.save) for _ in range(2)]
    for one in both:
        one.start()
    for one in both:
        one.join()
    assert [p.name for p in tmp_path.iterdir() if p.is_dir()] == ["tern"]


def test_a_file_that_is_no_text_is_said_and_what_was_there_stays(small_scene):
    document = Document.open(small_scene)
    text = document.text
    small_scene.write_bytes(text.encode().replace(b"Honey", b"Honig\xe9"))
    document.look()
    with pytest.raises(MockupError, match="UTF-8"):
        document.take_file("one")
    assert document.text == text and document.strange


def test_work_done_before_what_was_found_is_answered_for_is_kept_too(small_scene):
    def changed(document, title):
        document.edit(change_of(document.scene(), document.text, {"do": "name", "look": "honey", "title": title}), tab="one", base=document.version)
        return document.text

    first = changed(Document.open(small_scene), "First")
    second = changed(Document.open(small_scene), "Second")  # nobody has said what is to become of the first
    again = Document.open(small_scene)
    assert again.found == second
    again.save()
    again = Document.open(small_scene)
    assert again.found == second, "saving what is there takes nothing away of what was found"
    again.take_found("one")
    assert again.text == second
    again.undo("one")
    assert again.text == first
    again.undo("one")
    assert again.text == small_scene.read_text() and again.found is None


@pytest.mark.slow
def test_a_second_finger_ends_what_the_first_has_begun(small_scene, running, visit):
    page = visit(running(small_scene))
    page.locator('[data-key="slide"]').check()
    page.wait_for_function("() => bench.quiet")
    box, touch = page.locator("#picture").bounding_box(), page.context.new_cdp_session(page)
    x, y = page.evaluate("() => { const [x, y] = bench.partState.anchor; const { u, v, s } = bench.stage.view; const [w, h] = bench.stage.size; return [(y - u) * s + w / 2, (-x - v) * s + h / 2]; }")
    before = page.evaluate("() => bench.wood.place.at")

    def fingers(kind, *at):
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": [{"x": box["x"] + x + a, "y": box["y"] + y + b, "id": n} for n, (a, b) in enumerate(at)]})

    fingers("touchStart", (0, 0))
    fingers("touchMove", (6, 0))
    fingers("touchMove", (12, 0))
    page.wait_for_function("() => bench.wood.dragging")
    fingers("touchStart", (12, 0), (60, 0))
    fingers("touchMove", (12, 0), (80, 0))
    fingers("touchEnd")
    page.wait_for_function("() => bench.quiet && !bench.wood.dragging")
    after = page.evaluate("() => bench.work.at")
    assert after != before and page.locator("#undo").is_enabled()


@pytest.mark.slow
def test_two_controls_moved_in_one_breath_are_both_kept(small_scene, running, visit):
    page = visit(running(small_scene))
    page.wait_for_function("() => bench.quiet")
    page.evaluate("""() => {
        const steps = JSON.parse(JSON.stringify(bench.finish.steps));
        steps[0].strength = 0.25;
        bench.finish.gloss(13, false);
        bench.trying("top", { steps }, bench.finish.change(steps, "honey"));
        bench.trying("body", { sheen: 44 }, { do: "finish", part: "body", sheen: 44, words: "Body: sheen" });
        bench.commit();
    }""")
    page.wait_for_function("() => bench.quiet && bench.lookState.parts.body.sheen === 44")
    assert page.evaluate("() => [bench.lookState.parts.top.sheen, bench.lookState.parts.top.steps[0].strength]") == [13, 0.25]


@pytest.mark.slow
def test_a_step_that_another_tab_took_out_under_the_hand(small_scene, running, visit):
    bench = running(small_scene)
    page = visit(bench)
    opened(page, "stain")
    page.locator('input[data-key="0 stain strength"]').focus()
    page.evaluate("() => { bench.grip = document.activeElement; }")  # held
    version = page.evaluate("() => bench.version")
    told = bench.client().post("/api/edit", json={"do": "finish", "look": "honey", "part": "top", "steps": [], "version": version})
    assert told.status_code == 200
    page.evaluate("() => bench.load()")
    page.wait_for_function("() => bench.work.steps.length === 0")
    settled(page, lambda: page.evaluate("""() => { const input = document.activeElement; input.value = 0.3;
        for (const kind of ["input", "change"]) input.dispatchEvent(new Event(kind, {bubbles: true})); bench.grip = null; }"""))
    assert page.evaluate("() => bench.work.steps") == []


@pytest.mark.slow
def test_turned_by_keys_all_the_way_round(small_scene, running, visit):
    small_scene.write_text(small_scene.read_text().replace('cut = "bookmatch"', 'cut = "single"\nat = [65, 85]\nturn = 179.5'))
    page = visit(running(small_scene))
    map_ = page.locator("#map")
    map_.wait_for()
    page.wait_for_function("() => bench.quiet")
    map_.focus()
    for turn in (-180, -179.5):
        settled(page, lambda: page.keyboard.press("."))
        assert page.evaluate("() => bench.work.turn") == turn
        assert page.locator('[data-key="turn"]').input_value() == str(turn)


@pytest.mark.slow
def test_an_answer_dropped_while_another_is_read_is_the_one_that_counts(small_scene, running, visit):
    page = visit(running(small_scene))
    opened(page, "approve")
    late = Held(page, "**/api/answer")
    page.locator("#answer").fill("The first.")
    page.get_by_role("button", name="Read the answer").click()
    late.wait()
    page.evaluate("() => bench.approve.take('The second.', null, true)")
    late.routes.pop().fulfill(json={"look": "honey", "option": "Honey", "client": "A client", "date": "2026-11-25", "comment": "", "checked": True})
    late.wait()
    assert late.routes[0].request.post_data == "The second." and page.locator("#chosen").count() == 0
    late.let_go()
    page.locator("#answerTrouble").get_by_text("holds no choice").wait_for()
    assert page.locator("#answer").input_value() == "The second."


@pytest.mark.slow
def test_a_late_picture_of_the_other_side_is_dropped(small_scene, running, visit):
    page = visit(running(small_scene))
    page.wait_for_function("() => bench.quiet")
    late = Held(page, "**/api/picture", lambda request: '"side":"front"' in request.post_data)
    page.locator("#nearer").click()
    late.wait()
    sent = page.evaluate("() => bench.stage.sent")
    page.locator("#side").click()
    page.wait_for_function("(sent) => bench.stage.sent >= sent + 2 && bench.stage.drawn === bench.stage.sent && bench.stage.flying === 1", arg=sent)
    page.evaluate("""() => {
        bench.stage.drawn = 0; // as if the newer one had not come yet
        globalThis.wide = [];
        document.getElementById("picture").addEventListener("shown", () => globalThis.wide.push(bench.stage.main.mm[0] / bench.stage.wish(true).place.mm[0]));
    }""")
    with page.expect_response(lambda r: "/api/picture" in r.url and '"side":"front"' in r.request.post_data):
        late.let_go()
    page.wait_for_function("() => bench.quiet && globalThis.wide.length")
    assert all(abs(share - 1) < 0.02 for share in page.evaluate("() => globalThis.wide")), "none is of the side that was nearer"


@pytest.mark.slow
def test_a_board_that_cannot_be_read_ends_nothing(small_scene, running, visit):
    page = visit(running(small_scene))
    page.wait_for_function("() => bench.library.stains.length")
    (small_scene.parent / "flame.jpg").unlink()
    with page.expect_response(lambda r: "/api/library" in r.url) as told:
        page.locator('input[name="part"][value="body"]').check()
    assert told.value.status == 200 and {s["colour"] for s in told.value.json()["stains"]} == {None}
    page.locator("#notice-trouble").get_by_text("flame.jpg").wait_for()
    page.wait_for_function("() => bench.quiet")
