"""One open scene: changes, the way back, the file on disk, what a crash leaves."""

import errno
import os
import tomllib

import numpy as np
import pytest

from mockup.bench.changes import change_of
from mockup.bench.document import Conflict, Document
from mockup.bench.serve import free_port
from mockup.bench.state import state
from mockup.errors import MockupError
from mockup.render.kept import Kept
from mockup.render.picture import picture
from mockup.scene.load import scene_of_text

AMBER = [{"stain": "amber", "strength": 0.6}, {"coat": "lacquer", "coats": 5}]


@pytest.fixture
def document(small_scene):
    return Document.open(small_scene)


def change(document, tab="a", gesture=None, base=None, **wish):
    made = change_of(document.scene(), document.text, wish)
    return document.edit(made, tab=tab, base=document.version if base is None else base, gesture=gesture)


def values(document):
    return tomllib.loads(document.text)


@pytest.mark.parametrize("wish", [
    {"do": "finish", "part": "top", "look": None, "steps": AMBER},
    {"do": "finish", "part": "top", "look": "honey", "steps": AMBER, "sheen": 33},
    {"do": "finish", "part": "body", "look": "blue", "steps": AMBER},
    {"do": "finish", "part": "top", "look": "blue", "sheen": 12},
    {"do": "finish", "part": "body", "look": None, "sheen": 40},
    {"do": "place", "part": "top", "look": "blue", "at": [60, 80], "turn": 180},
], ids=lambda w: f"{w['do']} {w['part']} {w['look']}")
def test_what_is_shown_at_once_is_what_the_file_then_says(document, wish):
    """The quick way to a changed scene gives, in every look, the very pixels of the file read anew."""
    document.scene()
    change(document, **wish)
    quick, read = document.scene(), scene_of_text(document.text, document.file)
    kept = Kept()
    fresh = Document.open(document.file)
    fresh.text = document.text
    told, said = (state(d, kept, home=document.file.parent) for d in (document, fresh))
    assert (told["looks"], told["parts"]) == (said["looks"], said["parts"])
    for look in (None, "honey", "blue"):
        a, b = (s if look is None else s.with_variant(look) for s in (quick, read))
        assert [p.finish for p in a.parts] == [p.finish for p in b.parts]
        assert [p.placement for p in a.parts] == [p.placement for p in b.parts]
        assert np.array_equal(picture(a, scale=1, kept=kept).pixels, picture(b, scale=1).pixels)


def test_a_finish_belongs_to_its_look_and_wood_to_all(document):
    change(document, do="finish", part="top", look="blue", steps=AMBER)
    told = values(document)
    assert told["variants"]["blue"]["set"] == {"parts.top.sheen": 25, "parts.top.finish": AMBER}
    assert told["parts"]["top"]["finish"][0]["stain"] == "honey"
    change(document, do="place", part="top", look="blue", at=[61, 82])
    assert values(document)["parts"]["top"]["at"] == [61, 82]


def test_back_and_forth_to_the_letter(document):
    texts = [document.text]
    for n, wish in enumerate([{"do": "finish", "part": "top", "look": "honey", "steps": AMBER}, {"do": "cut", "part": "top", "cut": "single"},
                              {"do": "pin", "look": "honey", "title": "Night", "why": "Dark."}, {"do": "name", "look": "blue", "title": "Sea"},
                              {"do": "order", "names": ["night", "blue", "honey"]}, {"do": "unpin", "look": "blue"},
                              {"do": "wood", "part": "body", "texture": "walnut-1"}]):
        change(document, **wish)
        texts.append(document.text)
        assert len(set(texts)) == n + 2
    for text in texts[-2::-1]:
        assert document.undo("a") and document.text == text
    assert document.undo("a") == "" and not document.dirty
    for text in texts[1:]:
        assert document.redo("a") and document.text == text
    assert document.redo("a") == ""


def test_one_movement_of_the_hand_is_one_step_back(document):
    before = document.text
    for n in range(12):
        change(document, gesture="g", do="finish", part="top", look="blue", sheen=20 + n)
    change(document, gesture="h", do="finish", part="top", look="blue", sheen=50)
    document.undo("a")
    assert values(document)["variants"]["blue"]["set"]["parts.top.sheen"] == 31
    document.undo("a")
    assert document.text == before


@pytest.mark.parametrize("wish, words", [
    ({"do": "finish", "part": "top", "look": None, "steps": [{"stain": "amber", "strength": 4}]}, "4"),
    ({"do": "finish", "part": "top", "look": None, "steps": [{"stain": "no such"}]}, "There is no stain"),
    ({"do": "finish", "part": "top", "look": None, "sheen": 1e5}, "Sheen is"),
    ({"do": "finish", "part": "top", "look": "x", "sheen": 5}, "There is no variant"),
    ({"do": "place", "part": "top", "look": None, "at": [3, 3]}, "board"),
    ({"do": "place", "part": "nose", "look": None, "at": [3, 3]}, "There is no part"),
    ({"do": "place", "part": "top", "look": None, "at": ["a", 3]}, "two numbers"),
    ({"do": "wood", "part": "top", "texture": "../../etc/passwd"}, "There is no wood"),
    ({"do": "pin", "look": "blue", "title": "Honey"}, "already"),
    ({"do": "pin", "look": "blue", "title": "x" * 61}, "longer than 60"),
    ({"do": "name", "look": "blue", "title": "Honey"}, "There is a look called \"Honey\" already. Give this one another name."),
    ({"do": "name", "look": "blue", "title": " hONEY "}, "There is a look called \"Honey\" already. Give this one another name."),
    ({"do": "order", "names": ["blue"]}, "does not name each"),
    ({"do": "rm -rf"}, "not known here"),
], ids=lambda w: str(w)[:50])
def test_what_makes_no_sense_is_refused_and_nothing_changes(document, wish, words):
    before = document.text, document.version
    with pytest.raises(MockupError, match=words):
        change(document, **wish)
    assert (document.text, document.version) == before


def test_eight_looks_and_no_more(document):
    for n in range(6):
        change(document, do="pin", look="honey", title=f"Look {n}")
    with pytest.raises(MockupError, match="8 looks are side by side already"):
        change(document, do="pin", look="honey", title="One more")


def test_a_pinned_look_stays_as_it_was_pinned(document):
    change(document, do="pin", look=None, title="Kept")
    steps = state(document, Kept(), home=document.file.parent)["looks"][-1]["parts"]["top"]["steps"]
    change(document, do="finish", part="top", look=None, steps=AMBER, sheen=3)
    looks = state(document, Kept(), home=document.file.parent)["looks"]
    assert looks[-1]["parts"]["top"]["steps"] == steps and looks[0]["parts"]["top"]["steps"] == AMBER


def test_two_tabs_do_not_fight(document):
    seen = document.version
    change(document, tab="a", do="finish", part="top", look="blue", sheen=30)
    change(document, tab="b", base=seen, do="finish", part="body", look="blue", sheen=31)  # another part: both stand
    with pytest.raises(Conflict, match="another tab"):
        change(document, tab="b", base=seen, do="finish", part="top", look="blue", sheen=60)
    change(document, tab="b", do="finish", part="top", look="blue", sheen=60)  # having seen it
    assert {k: v for k, v in values(document)["variants"]["blue"]["set"].items() if "sheen" in k} == {"parts.top.sheen": 60, "parts.body.sheen": 31}


# -- the file

def test_saving_is_whole_and_ends_the_journal(document):
    change(document, do="finish", part="top", look="blue", sheen=44)
    assert document.journal.is_file() and document.dirty
    document.save()
    assert document.file.read_text() == document.text and not document.dirty and not document.journal.exists()


def test_a_crash_loses_nothing_that_was_changed(document):
    change(document, do="finish", part="top", look="blue", sheen=44)
    text = document.text
    again = Document.open(document.file)  # no goodbye was said
    assert again.found == text and not again.dirty
    again.take_found("a")
    assert again.text == text and again.dirty
    again.undo("a")
    assert again.text == again.saved

    third = Document.open(document.file)
    if third.found is not None:
        third.drop_found()
    assert not third.journal.exists() and Document.open(document.file).found is None


def test_the_file_changed_by_another_program(document):
    other = document.text.replace("sheen = 80", "sheen = 70")
    document.file.write_text(other)
    assert document.look() and document.text == other, "nothing of ours was unsaved, so it is taken up"
    assert not document.look()
    change(document, do="finish", part="top", look=None, sheen=44)
    mine = document.text
    document.file.write_text(other.replace("sheen = 70", "sheen = 60"))
    assert document.look() and document.strange and document.text == mine
    with pytest.raises(MockupError, match="changed by another program"):
        document.save()
    assert "sheen = 60" in document.file.read_text()
    document.take_file("a")
    assert "sheen = 60" in document.text and not document.dirty
    document.undo("a")
    assert document.text == mine
    document.save(over=True)
    assert document.file.read_text() == mine


def test_a_full_disk(document, monkeypatch):
    def full(*_):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    before = document.file.read_bytes()
    monkeypatch.setattr(os, "fsync", full)
    change(document, do="finish", part="top", look="blue", sheen=44)
    assert "disk is full" in document.unsafe, "the change stands, and the page says that it is not safe"
    with pytest.raises(MockupError, match="disk is full"):
        document.save()
    assert document.file.read_bytes() == before and document.dirty
    assert sorted(p.name for p in document.file.parent.iterdir()) == ["flame.jpg", "pipit.svg", "pipit.toml"]


def test_a_scene_with_mistakes_opens_and_says_their_lines(document):
    text = document.text.replace("sheen = 15", "sheen = 150").replace('"blue", strength = 0.6', '"bleu", strength = 0.6')
    document.file.write_text(text)
    told = state(Document.open(document.file), Kept(), home=document.file.parent)
    assert "parts" not in told
    lines = [(p["line"], text.splitlines()[p["line"] - 1]) for p in told["problems"]]
    assert [line for _, line in lines] == ["sheen = 15".replace("15", "150"), '"parts.top.finish.1" = { stain = "bleu", strength = 0.6 }']
    assert all(any(near["here"] and near["number"] == p["line"] for near in p["near"]) for p in told["problems"])
    document.file.write_text("[scene\n")
    told = state(Document.open(document.file), Kept(), home=document.file.parent)
    assert told["problems"][0]["line"] == 1


def test_a_port_in_use():
    first, port = free_port(None)
    second, other = free_port(port)
    try:
        assert other > port
        assert first.getsockname()[0] == second.getsockname()[0] == "127.0.0.1"
    finally:
        first.close()
        second.close()


@pytest.mark.parametrize("hand", ["right", "left"])
def test_a_joint_moves_as_the_drawing_means_it(small_scene, hand):
    """For the left hand the drawing is mirrored, and with it the joint that the page shows."""
    small_scene.write_text(small_scene.read_text().replace("[scene]", f'[scene]\nhand = "{hand}"'))
    document = Document.open(small_scene)
    top = next(p for p in document.scene().parts if p.name == "top")
    to = top.placement.joint + 3
    wish = {"do": "cut", "part": "top", "joint": to, "at": list(top.placement.at)}
    document.edit(change_of(document.scene(), document.text, wish), tab="t", base=document.version)
    after = next(p for p in document.scene().parts if p.name == "top")
    assert after.placement.joint == pytest.approx(to) and after.placement.at == pytest.approx(top.placement.at, abs=0.01)


@pytest.mark.parametrize("more", [{"joint": 900}, {"joint": "x"}, {"joint": 52, "at": [1]}, {"joint": 52, "at": [0, 0]}, {"at": [20, 20]}])
def test_a_joint_that_makes_no_sense(small_scene, more):
    document = Document.open(small_scene)
    with pytest.raises(MockupError):
        document.edit(change_of(document.scene(), document.text, {"do": "cut", "part": "top", **more}), tab="t", base=document.version)
