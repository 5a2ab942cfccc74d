"""What is dragged on the bench, and the same by keys: the joint line on the board, the steps of a finish."""

import pytest

from tests.bench_page.hands import opened, scene_of, settled


def drag(page, handle, dx, dy):
    """Take something by its middle, move it by so many pixels of the page, and let go when all of that is drawn."""
    box = handle.bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + dx, y + dy, steps=5)
    settled(page, page.mouse.up)


@pytest.mark.slow
def test_the_joint_line_and_the_order_of_steps(small_scene, running, visit):
    page = visit(running(small_scene))
    handle, number = page.locator("#jointHandle"), page.locator('[data-key="joint"]')
    handle.wait_for()
    page.wait_for_function("() => bench.quiet && bench.wood.scale")
    handle.scroll_into_view_if_needed()
    middle = float(number.input_value())

    # By hand: the line follows it, and the wood of the right piece stays where it is on the board.
    at, turn, lies, scale = page.evaluate("() => [bench.wood.place.at, bench.wood.place.turn, bench.wood.lies, bench.wood.scale]")
    before = handle.bounding_box()
    assert turn == 0 and lies, "a tall board lies on its side: across the joint is up in the map"
    drag(page, handle, 3 * scale, -12 * scale)
    assert abs(float(number.input_value()) - (middle + 12)) < 0.3
    after = handle.bounding_box()
    assert abs(after["y"] - before["y"] + 12 * scale) < 1.5 and abs(after["x"] - before["x"]) < 1.5
    assert abs(page.evaluate("() => bench.wood.place.at")[0] - at[0] - 12) < 0.3
    # By keys.
    handle.focus()
    settled(page, lambda: page.keyboard.press("ArrowLeft"))
    settled(page, lambda: page.keyboard.press("Shift+ArrowLeft"))
    assert page.evaluate("() => document.activeElement.id") == "jointHandle", "the focus stays"
    assert abs(float(handle.get_attribute("aria-valuenow")) - (middle + 1)) < 0.3
    settled(page, lambda: [page.keyboard.press("Control+z") for _ in range(3)])
    page.wait_for_function("(x) => Math.abs(bench.wood.joint - x) < 0.01", arg=middle)
    settled(page, lambda: (number.fill("9999"), number.press("Enter")))
    page.locator("#notices").get_by_text("board").wait_for()  # the left piece would be wider than the board
    assert float(number.input_value()) == middle
    page.get_by_role("button", name="I have read it").click()

    # Steps: the second is dragged before the first, and one that is let go far away stays.
    opened(page, "coats")
    steps = page.locator("#coats-work .step")
    words = "() => bench.work.steps.map((s) => Object.keys(s)[0])"
    assert page.evaluate(words) == ["stain", "coat"]
    grip = steps.nth(1).locator(".grip")
    away = [a - b for a, b in zip(centre(steps.nth(0)), centre(grip), strict=True)]
    drag(page, grip, 0, 300)
    assert page.evaluate(words) == ["stain", "coat"]
    drag(page, grip, *away)
    page.wait_for_function(f"() => String(({words})()) === 'coat,stain'")
    page.get_by_role("button", name="Undo: Top: 4 × oil varnish earlier").wait_for()
    steps.nth(1).get_by_role("button", name="Do earlier").focus()
    settled(page, lambda: page.keyboard.press("Enter"))
    assert page.evaluate(words) == ["stain", "coat"]
    page.keyboard.press("Control+s")
    page.get_by_text("pipit.toml: saved").wait_for()
    assert scene_of(small_scene)["variants"]["honey"]["set"]["parts.top.finish"][0]["stain"] == "honey"


def centre(one):
    box = one.bounding_box()
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
