"""Answers that come late, as on a busy machine: nothing is forgotten, and nothing moves under a hand."""

import re
import shutil

import pytest

from tests.bench_page.hands import opened, settled


def test_a_look_pinned_while_another_is_drawn_gets_its_picture(small_scene, running, visit):
    page = visit(running(small_scene))
    opened(page, "beside")
    for name in ("honey", "blue"):
        page.locator(f'img[data-look="{name}"][src^="blob:"]').wait_for()
    held = []

    def hold(route):
        (held.append if '"look first"' in route.request.post_data else type(route).continue_)(route)

    page.route("**/api/picture", hold)
    for name in ("First", "Second"):
        page.locator("#pinName").fill(name)
        page.locator("#pin").click()
        page.locator(f'[data-key="title {name.lower()}"]').wait_for()
        if name == "First":
            page.wait_for_function("() => bench.looks.drawing")
    assert len(held) == 1 and page.locator('img[data-look="second"][src]').count() == 0
    held.pop().continue_()
    for name in ("first", "second"):
        page.locator(f'img[data-look="{name}"][src^="blob:"]').wait_for()


@pytest.mark.parametrize("width", [pytest.param(390, marks=pytest.mark.slow), 1280, pytest.param(1600, marks=pytest.mark.slow)])
def test_nothing_moves_when_the_colour_is_known(running, visit, width):
    page = visit(running("tern"), picture=False, width=width)
    held = []
    page.route("**/api/colour", lambda route: held.append(route) if held is not None else route.continue_())
    page.reload()
    page.wait_for_selector("#picture[data-exact=true]")
    tops = "() => ['stations', 'view'].map((id) => document.getElementById(id).getBoundingClientRect().top)"
    page.wait_for_function("() => bench.quiet")
    assert page.locator("#target").inner_text() == ""
    before = page.evaluate(tops)
    for route in held:
        route.continue_()
    held = None
    page.locator("#target").get_by_text(re.compile("19 of 20 within")).wait_for()
    assert page.evaluate(tops) == before


@pytest.mark.slow
def test_an_answer_about_a_part_that_is_no_longer_chosen_is_dropped(small_scene, running, visit):
    text = small_scene.read_text().replace('outline = "pipit.svg#body"\nboard = "flame"', 'outline = "pipit.svg#body"\nboard = "dark"')
    small_scene.write_text(text + '\n[boards.dark]\ntexture = "walnut-1"\n')  # on another wood stains have other colours
    page = visit(running(small_scene))
    page.wait_for_function("() => bench.library.stains.length")
    late = []
    page.route("**/api/library?part=body", lambda route: late.append(route))
    page.locator('input[name="part"][value="body"]').check()
    with page.expect_response(lambda r: "/api/library?part=top" in r.url):
        page.locator('input[name="part"][value="top"]').check()
    settled(page, lambda: page.wait_for_function("() => bench.library.stains.length"))
    before = page.evaluate("() => JSON.stringify(bench.library)")
    with page.expect_response(lambda r: "/api/library?part=body" in r.url):
        late.pop().continue_()
    page.wait_for_timeout(100)
    assert page.evaluate("() => JSON.stringify(bench.library)") == before


@pytest.mark.slow
def test_what_is_being_typed_is_not_lost_when_something_else_changes(small_scene, running, visit):
    bench = running(small_scene)
    page = visit(bench)
    across = page.locator('[data-key="x"]')
    across.wait_for()
    page.wait_for_function("() => bench.quiet")
    across.press("End")
    across.press_sequentially("1")
    typed = across.input_value()
    # Another tab gives the look another sheen, and this one hears of it.
    with page.expect_response(lambda r: "/api/state" in r.url):
        version = page.evaluate("() => bench.version")
        told = bench.client().post("/api/edit", json={"do": "finish", "look": "honey", "part": "top", "sheen": 33, "version": version})
        assert told.status_code == 200
    page.wait_for_function("(v) => bench.version > v && bench.quiet", arg=version)
    assert across.input_value() == typed and page.evaluate("() => document.activeElement.dataset.key") == "x"
    across.fill("52.5")
    settled(page, lambda: across.press("Enter"))
    assert page.evaluate("() => bench.wood.place.at[0]") == 52.5
    # What came meanwhile is shown as soon as nobody types.
    assert page.evaluate("() => bench.work.sheen") == 33
    opened(page, "sheen")
    assert page.locator('[data-key="sheen"]').input_value() == "33"


@pytest.mark.slow
def test_a_page_left_open_changes_nothing_of_the_next_scene_on_the_same_port(small_scene, running, visit, tmp_path):
    bench = running(small_scene, "--port", "8790")
    page = visit(bench)
    opened(page, "sheen")
    assert bench.end() == 0
    (tmp_path / "next").mkdir()
    following = tmp_path / "next" / "pipit"
    shutil.copytree(small_scene.parent, following, ignore=shutil.ignore_patterns(".*"))
    port = bench.base.rsplit(":", 1)[1]
    after = running(following / "pipit.toml", "--port", port)
    assert after.base == bench.base
    # In the same browser, so that the old page has the new bench's cookie.
    page.context.new_page().goto(after.address)
    told = page.evaluate("""async () => {
        const { post, Away } = await import("/page/server.js");
        try { return await post("edit", {do: "finish", look: "honey", part: "top", sheen: 5, version: bench.version}); } catch (error) { return error instanceof Away; }
    }""")
    assert told is True
    page.get_by_role("heading", name="The bench does not answer any more").wait_for()
    assert after.client().get("/api/state").json()["dirty"] is False
