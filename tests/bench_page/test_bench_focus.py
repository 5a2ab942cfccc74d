"""Where the focus is, what stays where it was, what is read out and what a label says, while the page shows itself anew around it."""

import pytest

from tests.bench_page.hands import opened, settled, slide
from tests.bench_page.test_bench_order import Held

FOCUS = "() => document.activeElement.id || document.activeElement.dataset.key || document.activeElement.tagName"


@pytest.mark.slow
def test_lists_and_carets_stay_where_they_are(small_scene, running, visit):
    page = visit(running(small_scene), height=700)
    page.locator('[data-key^="wood "]').first.wait_for()
    where = "() => document.querySelector('#wood-work .choices').scrollTop"
    page.evaluate("() => { document.querySelector('#wood-work .choices').scrollTop = 150; }")
    settled(page, lambda: (page.locator('[data-key="x"]').fill("66"), page.locator('[data-key="x"]').press("Enter")))
    assert page.evaluate(where) == 150
    # A list that is the same is not filled anew: it would shut under the hand.
    page.evaluate("() => { globalThis.first = document.querySelector('#other option'); }")
    settled(page, lambda: page.locator("#undo").click())
    assert page.evaluate("() => globalThis.first.isConnected")
    # What else is on the page is shown anew around a caret in the middle of a word.
    page.evaluate("""async () => {
        const { refill, el } = await import("/page/dom.js");
        const home = document.createElement("div");
        document.getElementById("wood-work").append(home);
        const show = () => refill(home, el("input", { type: "text", value: "walnut", "data-key": "word" }));
        show();
        home.firstChild.focus();
        home.firstChild.setSelectionRange(2, 4);
        show();
    }""")
    assert page.evaluate("() => [document.activeElement.selectionStart, document.activeElement.selectionEnd]") == [2, 4]


@pytest.mark.slow
def test_the_lamp_neither_loses_nor_takes_the_focus(small_scene, running, visit):
    page = visit(running(small_scene))
    late = Held(page, "**/api/tilt")
    page.locator("#tilt").focus()
    page.keyboard.press("Enter")
    late.wait()
    assert page.evaluate(FOCUS) == "tilt"
    page.keyboard.press("Enter")  # once is enough
    page.locator("#nearer").focus()
    late.let_go()
    page.wait_for_function("() => bench.stage.frames && bench.quiet")
    assert page.evaluate(FOCUS) == "nearer", "whoever went on elsewhere is left there"
    page.locator("#lamp").focus()
    settled(page, lambda: page.evaluate("() => bench.stage.zoom(1.1)"))
    assert page.locator("#lamp").is_hidden() and page.evaluate(FOCUS) == "tilt"


@pytest.mark.slow
def test_a_label_says_what_is_shown(small_scene, running, visit):
    page = visit(running(small_scene))
    page.locator("#other").select_option("look ")
    page.wait_for_function("() => bench.stage.other?.bitmap && bench.quiet")
    page.locator("#splitting").check()
    assert page.locator("#which").inner_text() == "Honey"
    settled(page, lambda: page.locator("#look").select_option("blue"))
    assert page.locator("#which").inner_text() == "Blue"
    settled(page, lambda: page.locator("#other").select_option("look honey"))
    opened(page, "beside")
    title = page.locator('[data-key="title honey"]')
    title.fill("Amber")
    settled(page, lambda: title.press("Enter"))
    assert page.locator("#whichRight").inner_text() == "Amber"


@pytest.mark.slow
def test_an_instrument_with_one_side_says_so(small_scene, running, visit):
    small_scene.write_text(small_scene.read_text().replace('\nboard = "flame"', '\nboard = "flame"\nside = "front"'))
    page = visit(running(small_scene))
    assert page.evaluate("() => Object.keys(bench.state.sides)") == ["front"]
    settled(page, lambda: page.locator("#side").click())
    assert page.locator("#side").inner_text() == "See the back" and page.evaluate("() => bench.stage.side") == "front"


@pytest.mark.slow
def test_what_has_been_read_out_is_not_read_out_again(small_scene, running, visit):
    page = visit(running(small_scene))
    page.evaluate("""() => {
        bench.say("A sentence to be read.");
        globalThis.heard = 0;
        for (const id of ["notices", "saved", "told"]) new MutationObserver((all) => { globalThis.heard += all.length; })
            .observe(document.getElementById(id), {childList: true, subtree: true, characterData: true});
    }""")
    page.evaluate("() => bench.load()")
    page.wait_for_function("() => bench.quiet")
    assert page.evaluate("() => globalThis.heard") == 0
    opened(page, "sheen")
    settled(page, lambda: slide(page, "sheen", "12"))
    assert page.evaluate("() => globalThis.heard") == 1, "that it is not saved"


@pytest.mark.slow
def test_keys_do_not_reach_under_a_dialog_and_the_end_lies_over_all(small_scene, running, visit):
    bench = running(small_scene)
    page = visit(bench)
    opened(page, "sheen")
    settled(page, lambda: slide(page, "sheen", "12"))
    page.locator("#ruler").click()
    page.locator("#ruleDone").focus()
    settled(page, lambda: page.keyboard.press("Control+z"))
    assert page.evaluate("() => bench.work.sheen") == 12
    bench.end()
    page.get_by_role("heading", name="The bench does not answer any more").wait_for()
    assert page.locator("#rule").is_hidden()
    assert page.evaluate("() => document.activeElement.textContent") == "The bench does not answer any more"
    page.keyboard.press("Control+z")
    page.keyboard.press("Control+s")


@pytest.mark.slow
def test_buttons_pressed_before_anything_is_known(shared, visit):
    """They do nothing, and nothing stumbles: the fixture holds the page to that."""
    page = visit(shared)
    late = Held(page, "**/api/state")
    page.reload()
    late.wait()
    for name in ("all", "truly", "nearer", "farther", "lying", "side", "side", "lying"):
        page.locator(f"#{name}").click()
    late.let_go()
    page.wait_for_selector("#picture[data-exact=true]")
    assert page.locator("#side").inner_text() == "See the back"


@pytest.mark.slow
def test_a_sheen_set_before_its_words_are_known_is_what_the_hand_gave(small_scene, running, visit):
    bench = running(small_scene)
    page = visit(bench)
    late = Held(page, "**/api/library**")
    page.reload()
    late.wait()
    page.wait_for_selector("#picture[data-exact=true]")
    opened(page, "sheen")
    settled(page, lambda: slide(page, "sheen", "12"))
    assert page.evaluate("() => bench.work.sheen") == 12
    late.let_go()


@pytest.mark.slow
def test_what_gets_the_focus_on_a_narrow_screen_is_not_under_the_picture(shared, visit):
    page = visit(shared, width=390, height=844)
    opened(page, "approve")
    page.locator('[data-key="read answer"]').wait_for()
    page.evaluate("() => scrollTo(0, document.body.scrollHeight)")
    for _ in range(12):
        page.keyboard.press("Shift+Tab")
        top, under, inside = page.evaluate("""() => { const at = document.activeElement; return [at.getBoundingClientRect().top, document.getElementById("view").getBoundingClientRect().bottom,
            Boolean(at.closest("#ticket"))]; }""")
        assert not inside or top >= under - 1
