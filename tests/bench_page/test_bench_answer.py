"""The client's page written from the bench, and the client's answer read back in: from hand to hand in a real browser."""

import json

import pytest

from tests.bench_page.hands import opened


def answered_by_the_client(visit_file, path):
    """A client looks at the page on a phone, chooses blue, and sends the text this gives."""
    phone = visit_file(path)
    phone.get_by_role("button", name="Blue", exact=True).click()
    phone.get_by_role("button", name="Choose Blue").click()
    phone.locator("#name").fill("A client")
    phone.locator("#comment").fill("Blue, and a little less gloss?")
    return phone.locator("#text").input_value()


@pytest.mark.slow
def test_the_clients_page_and_the_answer(small_scene, running, visit, visit_file, mockup):
    page = visit(running(small_scene))
    opened(page, "approve")
    page.get_by_role("button", name="Page for the client").click()
    link = page.get_by_role("link", name="pipit.share.html")
    link.wait_for()
    # The maker looks at it: it shows and works, though it may not speak to the bench.
    with page.context.expect_page() as opening:
        link.click()
    shown = opening.value
    shown.get_by_role("button", name="Blue", exact=True).click()
    shown.get_by_role("button", name="Choose Blue").wait_for()
    assert shown.evaluate("() => fetch('/api/state').then(() => 'spoke', () => 'refused')") == "refused"
    shown.close()
    papers = small_scene.parent / "papers"
    text = answered_by_the_client(visit_file, papers / "pipit.share.html")

    # What cannot be taken is said beside it, and nothing is written.
    box, trouble, read = page.locator("#answer"), page.locator("#answerTrouble"), page.get_by_role("button", name="Read the answer")
    assert read.is_disabled()
    for words, said in (("I like the blue one.", "holds no choice"), (text[:-30], "cut off"), (text.replace("Option: Blue", "Option: Honey"), "changed on its way")):
        box.fill(words)
        read.click()
        trouble.get_by_text(said).wait_for()
        assert page.locator("#chosen").count() == 0 and box.input_value() == words
    assert [p.name for p in papers.iterdir()] == ["pipit.share.html"]

    # The answer in a mail that quotes it: who chose what, then its approval.
    box.fill("Hello,\n\n" + "\n".join(f"> {line}" for line in text.splitlines()))
    read.click()
    chosen = page.locator("#chosen")
    chosen.get_by_text("A client chose Blue").wait_for()
    chosen.get_by_text("a little less gloss?").wait_for()
    assert trouble.inner_text() == ""
    chosen.get_by_role("button", name="Write the approval of Blue").click()
    page.get_by_role("link", name="pipit.blue.approval.png").wait_for()
    record = papers / "pipit.blue.approval.json"
    assert json.loads(record.read_text())["choice"]["comment"] == "Blue, and a little less gloss?"
    assert mockup("verify", record).returncode == 0
    assert box.input_value() == "" and chosen.count() == 0

    # A mail dropped there is an answer, not the photo of a board; and the scene went on in the meantime.
    opened(page, "sheen")
    page.locator("#look").select_option("blue")
    page.get_by_role("button", name="Matt 5").click()
    page.locator("#save:enabled").wait_for()
    opened(page, "approve")
    page.evaluate("""(text) => {
        const moved = new DataTransfer();
        moved.items.add(new File([text], "answer.eml", {type: "message/rfc822"}));
        document.getElementById("answering").dispatchEvent(new DragEvent("drop", {dataTransfer: moved, bubbles: true, cancelable: true}));
    }""", f"From: client@example.org\nContent-Type: text/plain; charset=utf-8\n\n{text}")
    trouble.get_by_text("is not what the client saw any more").wait_for()
    assert page.locator("#photo").is_hidden() and page.locator("#notices .notice").count() == 0
