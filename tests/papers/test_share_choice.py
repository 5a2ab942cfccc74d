"""A client's choice as text: it survives mails, and a mangled, forged or outdated one is refused with what to do."""

import json
import re
import textwrap

import pytest
from conftest_papers import make_folder
from hypothesis import assume, given
from hypothesis import strategies as st

from mockup.cli import run
from mockup.errors import MockupError
from mockup.papers.choice import BEGIN, END, Choice, choice_text, chosen_scene, completed, read_choice, seen_by_client, text_of
from mockup.papers.record import fingerprint, short
from mockup.render.colours import colours
from mockup.scene.load import load_scene

CHOICE = Choice(instrument="Plover, No. 7", revision="B", option="Amber again", scene="plover", variant="amber-again", seen="3f2a 91bc 77d0",
                name="Kim Example", date="2026-11-25", comment="It's lovely - but could the \"edge\" be 10 % darker... please?")


def told(text):
    with pytest.raises(MockupError) as error:
        read_choice(text)
    return str(error.value)


# -- mails ---------------------------------------------------------------------

words = st.text(st.characters(exclude_categories=["Cs", "Cc", "Cn", "Co"]), max_size=60)
paragraphs = st.lists(words, max_size=6).map("\n".join)


def curly(text):
    """What a writing program betters: quotes, dashes, dots."""
    text = re.sub(r'"([^"\n]*)"', "\u201c\\1\u201d", text).replace("'", "\u2019").replace("...", "\u2026")
    return text.replace("--", "\u2014").replace(" - ", " \u2013 ")


def wrapped(text, width):
    return "\n".join("\n".join(textwrap.wrap(line, width, break_long_words=False, break_on_hyphens=False) or [""]) for line in text.split("\n"))


MANGLES = {
    "quoted": lambda t: "\n".join(f"> {line}" for line in t.split("\n")),
    "quoted thrice, without blanks": lambda t: "\n".join(f">>>{line}" for line in t.split("\n")),
    "quoted by bars": lambda t: "\n".join(f" | {line}" for line in t.split("\n")),
    "wrapped at 72": lambda t: wrapped(t, 72),
    "wrapped at 40": lambda t: wrapped(t, 40),
    "curly": curly,
    "other line ends": lambda t: t.replace("\n", "\r\n"),
    "spaced": lambda t: t.replace("\n", "\n\n"),
    "hard blanks": lambda t: t.replace(" ", "\u00a0"),
    "indented": lambda t: "\n".join(f"    {line}  " for line in t.split("\n")),
    "one line": lambda t: " ".join(t.split()),
    "stars": lambda t: t.replace(BEGIN, f"*{BEGIN.upper()}*"),
}


def letters(text):
    return [c for c in text if c.isalnum()]


@given(words, paragraphs, st.lists(st.sampled_from(sorted(MANGLES)), max_size=4))
def test_a_choice_survives_mails(name, comment, how):
    name = " ".join(name.split()) or "Kim"
    comment = " ".join(comment.split())
    assume(not re.search(r"(^|\s)[^\w\s]*(Instrument|Revision|Option|Name|Date|Comment|For|Check):", f"{name} {comment}"))
    choice = Choice(**{**{s: getattr(CHOICE, s) for s in CHOICE.__slots__}, "name": name, "comment": comment})
    text = f"Dear maker,\nsee below.\n\n{choice_text(choice)}\n-- \nKim\n"
    for each in how:
        text = MANGLES[each](text)
    read = read_choice(text)
    assert (read.scene, read.variant, read.date, read.checked) == ("plover", "amber-again", "2026-11-25", True)
    # Curly quotes and rearranged blanks are all that may differ.
    assert letters(curly(read.comment)) == letters(curly(comment))
    if not how:
        assert letters(read.name) == letters(name)


@pytest.mark.parametrize("how", MANGLES)
def test_each_way_of_mails_alone(how):
    read = read_choice(MANGLES[how](choice_text(CHOICE)))
    assert curly(read.comment) == curly(CHOICE.comment)
    assert (read.name, read.seen, read.option) == (CHOICE.name, CHOICE.seen, CHOICE.option)


@given(st.data())
def test_any_changed_letter_or_digit_is_refused(data):
    """One of them inside the marks, put in another's place: no text so changed is read as the choice that was made."""
    text = choice_text(CHOICE)
    inner = text[:text.index(END)]
    at = data.draw(st.sampled_from([i for i, c in enumerate(inner) if c.isalnum() and i > len(BEGIN)]))
    other = data.draw(st.sampled_from("abcdefghijklmnopqrstuvwxyz0123456789"))
    assume(other != text[at].lower())
    with pytest.raises(MockupError):
        read_choice(text[:at] + other + text[at + 1:])


@pytest.mark.parametrize("change, words", [
    (lambda t: "Hello, I take the amber one.", "The text holds no choice from a client's page. Save the client's whole mail, from [my choice] to [end of my choice]."),
    (lambda t: t.replace(END, ""), "The choice is cut off: [end of my choice] is missing. Ask the client to send it again as the page makes it."),
    (lambda t: t.replace("Amber again", "Amber"), "The choice was changed on its way, or a part of it is missing. Ask the client to send it again as the page makes it."),
    (lambda t: re.sub("Date:.*\n", "", t), "The choice was changed on its way, or a part of it is missing. Ask the client to send it again as the page makes it."),
    (lambda t: t.replace("lovely", "ugly"), "The client's name, date or comment is not as the page wrote it. Ask the client to send it again as the page makes it. "
                                            "What the client adds belongs outside of the marks."),
    (lambda t: t + t.replace("Kim", "Jo").replace(check(t), check(choice_text(CHOICE), name="Jo Example")),
     "The text holds 2 different choices. Keep the one that counts and take the others out."),
    (lambda t: t.replace("77d0", "77d1"), "The choice was changed on its way, or a part of it is missing. Ask the client to send it again as the page makes it."),
])
def test_a_mangled_text_is_told(change, words):
    assert told(change(choice_text(CHOICE))) == words


def check(text, **changes):
    """The line with the check."""
    if changes:
        text = choice_text(Choice(**{**{s: getattr(CHOICE, s) for s in CHOICE.__slots__}, **changes}))
    return re.search("Check: .*", text)[0]


def test_the_same_choice_quoted_below_is_one():
    text = choice_text(CHOICE)
    assert read_choice(text + "\nOn Monday you wrote:\n" + MANGLES["quoted"](text)) == CHOICE


def test_a_comment_may_hold_the_marks():
    choice = Choice(**{**{s: getattr(CHOICE, s) for s in CHOICE.__slots__}, "comment": f"What is {END} for? And {BEGIN}? For: you"})
    assert read_choice(choice_text(choice)) == choice


def test_a_text_to_fill_in_by_hand():
    blank = choice_text(Choice(**{**{s: getattr(CHOICE, s) for s in CHOICE.__slots__}, "name": "", "date": "", "comment": ""}))
    filled = blank.replace("Name:", "Name: Kim").replace("Comment:", "Comment: The blue one,\nplease")
    read = read_choice(MANGLES["quoted"](filled))
    assert (read.name, read.comment, read.date, read.checked) == ("Kim", "The blue one, please", "", False)
    assert completed(read, name="", today="2026-12-01").date == "2026-12-01"
    assert completed(read_choice(blank), name="A. Client", today="2026-12-01").name == "A. Client"
    with pytest.raises(MockupError, match='^The choice does not say who made it. Write the client\'s name after "Name:", or as client into the scene.$'):
        completed(read_choice(blank), name="", today="2026-12-01")
    assert told(filled.replace("Date:", "Date: soon")) == 'The date of the choice is "soon". Write it as year-month-day, 2026-11-25.'


@pytest.mark.parametrize("data", [
    choice_text(CHOICE).encode("utf-8-sig"), choice_text(CHOICE).encode("utf-16"), curly(choice_text(CHOICE)).encode("cp1252"),
    b"From: kim@example.org\r\nSubject: x\r\nMIME-Version: 1.0\r\nContent-Type: text/plain; charset=utf-8\r\nContent-Transfer-Encoding: base64\r\n\r\n"
    + __import__("base64").encodebytes(choice_text(CHOICE).encode()),
    b"From: kim@example.org\r\nContent-Type: text/html; charset=utf-8\r\n\r\n<html><head><style>p{}</style></head><body>Hi<br>"
    + choice_text(CHOICE).replace('"', "&quot;").replace("\n", "<br>\n").encode() + b"</body></html>",
], ids=["UTF-8 with a mark", "UTF-16", "Windows-1252", "saved mail, base64", "saved mail, HTML"])
def test_files_as_mail_programs_save_them(data):
    assert curly(read_choice(text_of(data)).comment) == curly(CHOICE.comment)


def test_a_text_that_is_too_large():
    with pytest.raises(MockupError, match="^This is too large to be a client's choice. Save the client's mail as text.$"):
        text_of(b"x" * 3_000_000)


# -- against the scene -----------------------------------------------------------


def of_scene(path, variant="amber", **more):
    view = load_scene(path).with_variant(variant)
    return Choice(instrument=view.title, revision=view.revision or "none", option=view.variant.title, scene=view.name, variant=variant,
                  seen=short(seen_by_client(view, colours(view))), name="Kim", date="2026-11-25", **more)


def change(path, old, new):
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new, 1))


def test_what_the_client_did_not_see_may_change(plover):
    choice = of_scene(plover)
    change(plover, 'title = "Plover"', 'title = "Plover the second"  # a remark\ndate = 2026-12-24\nground = [70, 0, 0]')
    change(plover, 'client = "A. Client"', 'client = "B. Client"')
    change(plover, 'stain" = "red"', 'stain" = "green"')  # of another variant
    checked = chosen_scene(load_scene(plover), choice)
    assert checked.scene.variant.name == "amber"
    assert checked.kept["client"] == "Kim" and short(checked.kept["seen"]) == choice.seen


AGAIN = "Share the scene again and ask for a new choice, or put it back as it was."
OTHER = f'plover.toml: "Amber" is not what the client saw any more: its recipe, a board or a drawing changed since the page was made. {AGAIN}'


@pytest.mark.parametrize("alter, words", [
    (lambda p: change(p, 'strength" = 0.4', 'strength" = 0.41'), OTHER),
    (lambda p: change(p, "sheen = 60", "sheen = 61"), OTHER),
    (lambda p: change(p, "actual = true", "actual = false"), OTHER),
    (lambda p: change(p.parent / "plover.svg", "140 60 140", "140 60 141"), OTHER),
    (lambda p: (p.parent / "table.png").write_bytes((p.parent / "table.png").read_bytes() + b" "), OTHER),
    (lambda p: change(p, 'revision = "B"', 'revision = "C"'),
     "plover.toml: The client chose from revision B, and the scene is at revision C now. Share the scene again and ask for a new choice, or go back to that revision."),
    (lambda p: change(p, "[variants.amber]", "[variants.honey]") or change(p, "[variants.amber.set]", "[variants.honey.set]"),
     'plover.toml: The client chose "amber", and the scene has no such variant now. Put it back as it was, or share the scene again and ask for a new choice.'),
], ids=["recipe", "sheen", "wood is not the actual one", "drawing", "board", "revision", "variant"])
def test_a_scene_that_changed_since_is_refused(plover, alter, words):
    choice = of_scene(plover)
    alter(plover)
    with pytest.raises(MockupError) as error:
        chosen_scene(load_scene(plover), choice)
    assert str(error.value) == words


def test_another_scene_is_refused(plover, tmp_path):
    choice = of_scene(plover)
    other = make_folder(tmp_path / "other").rename(tmp_path / "other" / "dotterel.toml")
    with pytest.raises(MockupError, match='^The client chose from the scene "plover", and this is "dotterel". Name that scene.$'):
        chosen_scene(load_scene(other), choice)


# -- as a maker runs it ------------------------------------------------------------


def test_approve_by_choice(plover, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    mail = tmp_path / "mail.txt"
    mail.write_text("Hello!\n" + MANGLES["quoted"](wrapped(choice_text(of_scene(plover, comment="Warmer \U0001f60a at the edge, please \u2013 and thank you")), 40)))
    assert run(["approve", str(plover), "--choice", "mail.txt", "--out", "papers"]) == 0
    record = json.loads((tmp_path / "papers" / "plover.amber.approval.json").read_text())
    assert record["choice"] == {"client": "Kim", "date": "2026-11-25", "comment": "Warmer \U0001f60a at the edge, please \u2013 and thank you",
                                "seen": record["choice"]["seen"], "checked": True}
    capsys.readouterr()
    assert run(["verify", "papers/plover.amber.approval.json"]) == 0
    # The client's words are under the record's fingerprint.
    record["choice"]["comment"] = "Cooler"
    assert fingerprint(record) != record["fingerprint"]


def test_the_words_stand_in_the_picture(good_scene, good_kept):
    from mockup.papers.approval import approval
    from mockup.papers.page import Text

    choice = of_scene(good_scene.file, comment="Warmer \U0001f60a at the edge")
    made = approval(good_scene, "amber", good_scene.folder, today="2026-11-25", px_width=1200, choice=chosen_scene(good_scene, choice), kept=good_kept)
    said = " ".join(item.text.replace("\u00a0", " ") for item in made.page.items if isinstance(item, Text))
    assert "The client\u2019s answer \u201cWarmer at the edge\u201d (The whole comment stands in the record.)" in said
    assert "Kim, 25 November 2026" in said and choice.seen in said
    plain = approval(good_scene, "amber", good_scene.folder, today="2026-11-25", px_width=1200, kept=good_kept)
    assert "choice" not in plain.record and not any("answer" in i.text for i in plain.page.items if isinstance(i, Text))


@pytest.mark.parametrize("arguments, words", [
    ([], "mockup approve: Which variant? Say --variant NAME, or --choice FILE with the answer of the client. See mockup approve --help."),
    (["--choice", "no.txt"], "no.txt: There is no such file. Check the name and the folder."),
    (["--choice", "plover.svg"], "plover.svg: The text holds no choice from a client's page. Save the client's whole mail, from [my choice] to [end of my choice]."),
    (["--choice", "mail.txt", "--variant", "red"], 'mockup approve: The client chose "amber", not "red". Leave --variant out.'),
])
def test_approve_refuses_in_one_line(plover, monkeypatch, capsys, arguments, words):
    monkeypatch.chdir(plover.parent)
    (plover.parent / "mail.txt").write_text(choice_text(of_scene(plover)))
    before = sorted(p.name for p in plover.parent.iterdir())
    assert run(["approve", "plover.toml", *arguments]) == 2
    assert capsys.readouterr() == ("", words + "\n")
    assert sorted(p.name for p in plover.parent.iterdir()) == before
