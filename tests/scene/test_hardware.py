"""Hardware in words."""

from mockup.scene.hardware import hardware_sentence, hardware_words, material_words
from mockup.scene.load import load_scene
from mockup.scene.material import MATERIALS
from mockup.scene.values import Material


def test_plastics_by_colour_and_metals_by_name():
    for lab, word in (((86.0, 2.0, 12.0), "cream plastic"), ((16.0, 0.0, 1.0), "black plastic"), ((38.0, 45.0, 25.0), "red plastic")):
        assert material_words(Material(name="plastic", kind="plastic", lab=lab, gloss=70)) == word
    assert material_words(MATERIALS["black"]) == "black metal" and material_words(MATERIALS["bone"]) == "bone"


def test_all_that_is_seen_is_named_once_and_what_is_not_is_left_out():
    scene = load_scene("tern")
    words = dict(hardware_words(scene))
    assert words["Bridge pickup"] == "cream plastic and nickel" or words["Bridge pickup"] == "nickel and cream plastic"
    assert words["Nut"] == "bone" and "Control cavity" not in words and list(words)[-1] == "Strings"
    sentence = hardware_sentence(scene)
    assert sentence.startswith("Hardware: ") and "bone for the nut" in sentence and "trings" not in sentence and "shade" not in sentence
    assert sentence.count("bridge pickup") == 1


def test_a_body_has_none():
    assert hardware_words(load_scene("gannet")) == [] and hardware_sentence(load_scene("gannet")) == ""
