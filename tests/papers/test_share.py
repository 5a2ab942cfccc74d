"""The client's page as a file: what is in it, that it needs nothing else, and how large it is."""

import base64
import hashlib
import html
import io
import re
from dataclasses import replace

import numpy as np
import pytest
from conftest_papers import make_folder, option
from PIL import Image

from mockup.cli import run
from mockup.errors import MockupError
from mockup.papers.choice import chosen_scene, read_choice
from mockup.papers.share import LIMIT, share_page
from mockup.papers.share_pictures import DARK, LIGHT, shots
from mockup.render.picture import MARGIN, picture
from mockup.scene.load import load_scene

TODAY = "2026-11-25"
NAMES = ["amber", "amber-again", "blue"]


@pytest.fixture(scope="module")
def page(good_scene, good_kept):
    return share_page(good_scene, NAMES, today=TODAY, mail="maker@example.org", kept=good_kept).decode("utf-8")


def pictures(text):
    """Every picture of a page as an array, with its kind, side and words."""
    found = []
    for figure in re.findall("<figure.*?</figure>", text):
        side = re.search('data-side="(.*?)"', figure)[1]
        for tag in re.findall("<img.*?>", figure):
            kind = re.search('class="(.*?)"', tag)[1]
            data = base64.b64decode(re.search('src="data:image/(?:jpeg|webp);base64,(.*?)"', tag)[1])
            found.append((kind, side, re.search('alt="(.*?)"', tag)[1], np.asarray(Image.open(io.BytesIO(data)))))
    return found


def test_the_page_holds_all_it_needs(page):
    assert len(page) < LIMIT
    sources = re.findall(r'(?:src|href)="(.*?)"|url\("(.*?)"\)', page)
    assert {s[:5] for pair in sources for s in pair if s} == {"data:", "mailt", "#choo"}
    without_data = re.sub(r"data:[\w/]+;base64,[A-Za-z0-9+/=]+", "", page)
    assert "http:" not in without_data and "https:" not in without_data and "//" not in re.sub(r"(?m)(^|\s)//.*|/\*.*?\*/", "", without_data)
    assert not re.search(r'<[^>]*\s(style|on\w+)="', without_data), "the policy lets in no inline style or handler"


def test_its_policy_lets_in_what_was_written_and_nothing_else(page):
    policy = html.unescape(re.search('Content-Security-Policy" content="(.*?)"', page)[1])
    rules = dict(rule.strip().split(" ", 1) for rule in policy.split(";"))
    assert rules["default-src"] == "'none'" and rules["img-src"] == rules["font-src"] == "data:"
    for name, tag in (("style-src", "style"), ("script-src", "script")):
        inner, = re.findall(f"<{tag}>(.*?)</{tag}>", page, re.DOTALL)
        digest = base64.b64encode(hashlib.sha256(inner.encode()).digest()).decode()
        assert rules[name] == f"'sha256-{digest}'"


def test_equal_inputs_give_equal_bytes(good_scene, good_kept, page, tmp_path):
    again = load_scene(make_folder(tmp_path / "plover"))
    assert share_page(again, ["blue"], today=TODAY) == share_page(good_scene, ["blue"], today=TODAY, kept=good_kept)


def test_each_option_is_there_whole_from_both_sides(page, good_scene, good_kept):
    found = pictures(page)
    assert [(kind, side) for kind, side, _, _ in found] == [(k, s) for _ in NAMES for s in ("front", "back") for k in ("light", "dark")]
    assert [words for kind, side, words, _ in found if kind == "light" and side == "front"] == \
        ["Plover in Amber, front", "Plover in Amber again, front", "Plover in Blue, front"]
    light, dark = found[8][3].astype(int), found[9][3].astype(int)  # blue, from the front
    height, width = light.shape[:2]
    scale = width / (2 * MARGIN + (good_scene.with_variant("blue").parts[0].shape.bounds[2] - good_scene.with_variant("blue").parts[0].shape.bounds[0]))
    assert scale > 5, "a small instrument is shown finely"
    # Neutral ground all around: nothing is cut off.
    for edge in (light[0], light[-1], light[:, 0], light[:, -1]):
        assert np.ptp(edge.reshape(-1, 3).astype(int), axis=1).max() <= 2 and 214 <= edge.min() <= edge.max() <= 221
    blue = good_scene.with_variant("blue")
    truth = [picture(replace(blue, ground=g), side="front", scale=round(scale, 3), kept=good_kept, span=(0.5, 0.5)).pixels for g in (LIGHT, DARK)]
    assert truth[0].shape == light.shape
    assert np.abs(light - truth[0]).mean() < 2.5 and np.percentile(np.abs(light - truth[0]), 99) < 13
    # The dark surround laid over the light picture gives the picture drawn on the dark ground.
    clear = dark[..., 3:] == 0
    both = np.where(clear, light, dark[..., :3])
    assert np.abs(both - truth[1]).mean() < 2.5 and np.percentile(np.abs(both - truth[1]), 99) < 13
    assert set(np.unique(dark[..., 3])) == {0, 255} and 0.1 < clear.mean() < 0.6


def test_a_smaller_page_has_smaller_pictures(good_scene, good_kept):
    small = share_page(good_scene, NAMES[1:], today=TODAY, limit=800_000, kept=good_kept)
    assert len(small) <= 800_000
    assert max(pictures(small.decode())[0][3].shape) >= 600
    # Near the limit, not far under it: pixels are what the client looks at.
    assert len(small) > 550_000


def test_pictures_that_do_not_fit_are_refused_with_what_to_do(good_scene, good_kept, capsys, tmp_path):
    with pytest.raises(MockupError, match="^plover.toml: The pictures of 8 options do not fit. Name fewer options, or allow a larger page.$"):
        share_page(good_scene, today=TODAY, limit=600_000, kept=good_kept)
    assert run(["share", str(good_scene.file), "--limit", "0.3", "--out", str(tmp_path / "a.html")]) == 2
    assert capsys.readouterr().err == "mockup share: The page may have 0.3 MB. Allow 0.5 MB or more: whole instruments need some pixels.\n"
    assert not list(tmp_path.iterdir())


def plain(text):
    return html.unescape(re.sub("<[^>]*>", "\n", re.sub(r"<(style|script).*?</\1>", "", text, flags=re.DOTALL))).replace("\u00a0", " ")


def test_what_it_says(page):
    said = plain(page)
    for words in ("Plover", "Revision B · 25 November 2026 · For A. Client", "Amber again", "It was asked for.", "Dark table top (actual board)",
                  "Amber dye at 40 %; three coats of oil varnish", "Semi-gloss, 60 GU at 60°", "If light", "Expected", "If dark",
                  "Expected, and how light or dark it may come out in 95 of 100 cases (library estimate), if the bare wood has exactly the colour shown.",
                  "The wood shown is the actual board.", "Screens differ.", "Finishes darken, yellow or fade with light and years.",
                  "The back of a board is shown as its front, mirrored: it is not in the photo."):
        assert words in said, words
    assert re.search(r"Colours are library estimates, not tried on a test board: 95 of 100 finished parts should come out within (the range given with each colour, )?ΔE00 \d", said)
    # The sheet's own rule for options that look alike.
    assert re.search(r"Amber and Amber again may look alike: the mean colour of the body differs by less than ΔE00 0\.1\.", said)


def test_a_burst_shows_its_middle_and_its_edge(plover):
    from mockup.papers.share_words import offer
    from mockup.render.colours import colours

    plover.write_text(plover.read_text().replace('coat = "oil varnish", coats = 3 }', 'burst = "tobacco", width = 30 }, { coat = "oil varnish", coats = 3 }'))
    view = load_scene(plover).with_variant("amber")
    body = offer(view, colours(view)).facts[0]
    assert [p.label for p in body.patches] == ["If light", "Middle", "If dark", "Edge"]
    light, middle, dark, edge = (sum(p.rgb) for p in body.patches)
    assert light > middle > dark and edge < middle
    assert body.range == "Middle and edge as expected, and how light or dark the middle may come out in 95 of 100 cases (library estimate), " \
                         "if the bare wood has exactly the colour shown."


def test_options_that_part_under_another_light_are_told(metameric, good_kept):
    """A dye and a paint mixed to its colour in daylight, whose spectra differ."""
    from mockup.papers.share_words import terms
    from mockup.render.colours import colours

    views = [metameric.with_variant(name) for name in ("dyed", "painted")]
    said = " ".join(terms(views, [colours(v, kept=good_kept) for v in views], (), kept=good_kept).vary)
    assert "Dyed and Painted may look alike" in said
    assert re.search(r"Dyed and Painted match under (daylight|a white LED) .* and part under a warm lamp ", said)



def test_the_plain_text_of_each_option_is_a_choice_that_counts(page, good_scene):
    texts = [html.unescape(t) for t in re.findall("<pre>(.*?)</pre>", page, re.DOTALL)]
    assert len(texts) == 3
    for name, text in zip(NAMES, texts, strict=True):
        assert chosen_scene(good_scene, read_choice(text)).scene.variant.name == name


def test_titles_cannot_become_markup(tmp_path):
    evil = 'A <script>alert(1)</script> & <b data-x=\'1\'>'
    path = make_folder(tmp_path / "plover", [("amber", evil.replace("'", ""), "", "amber", 0.4)])
    text = share_page(load_scene(path), today=TODAY, limit=600_000).decode()
    assert text.count("<script") == 1 and "<b data" not in text
    assert html.escape(evil.replace("'", "")) in text


@pytest.mark.parametrize("arguments, words", [
    (["ambr"], 'plover.toml: There is no variant "ambr". Did you mean "amber"?'),
    (["amber", "amber"], 'plover.toml: The variant "amber" is named twice. Name each once.'),
    (["--mail", "me at home"], 'mockup share: "me at home" is no mail address. Write it plainly, as name@example.org.'),
    (["--out", "page.pdf"], 'page.pdf: ".pdf" cannot be written. Use one of: .html, .htm.'),
])
def test_share_refuses_in_one_line(plover, monkeypatch, capsys, arguments, words):
    monkeypatch.chdir(plover.parent)
    before = sorted(p.name for p in plover.parent.iterdir())
    assert run(["share", "plover.toml", *arguments]) == 2
    assert capsys.readouterr() == ("", words + "\n")
    assert sorted(p.name for p in plover.parent.iterdir()) == before


@pytest.mark.parametrize("count, words", [
    (0, "plover.toml: The scene has no variants to choose from. Add some under [variants]."),
    (9, "plover.toml: The scene has 9 variants; a client's page shows up to 8. Name the ones to show."),
])
def test_too_few_and_too_many(tmp_path, count, words):
    path = make_folder(tmp_path / "plover", [(f"v{n}", f"V {n}", "", "amber", 0.1 + n / 20) for n in range(count)])
    with pytest.raises(MockupError) as error:
        share_page(load_scene(path), today=TODAY)
    assert str(error.value) == words


def test_share_takes_the_address_from_the_shop(plover, monkeypatch, capsys):
    monkeypatch.chdir(plover.parent)
    (plover.parent / "shop.toml").write_text('mail = "bench@example.org"\n')
    plover.write_text(plover.read_text() + option("late", "Late", "", "amber", 0.4).replace('"parts.body.finish.1.strength" = 0.4', '"parts.plate.finish" = [{ sand_back = 0.5 }]'))
    assert run(["share", "plover.toml", "late"]) == 0
    out, err = capsys.readouterr()
    assert out == "plover.share.html\n"
    assert "late, Cover: Sanding back before any stain takes off nothing; the step changes nothing." in err
    assert "mockup approve plover.toml --choice FILE" in err
    text = (plover.parent / "plover.share.html").read_text()
    assert 'href="mailto:bench@example.org?subject=My%20choice' in text and 'data-mail="bench@example.org"' in text
    (plover.parent / "shop.toml").write_text('mail = "bench"\n')
    assert run(["share", "plover.toml", "late"]) == 2
    assert capsys.readouterr().err == 'shop.toml: mail: "bench" is no mail address. Write it plainly, as name@example.org.\n'


def test_options_of_one_side_share_a_canvas(small_scene):
    """An option with a part that sticks out further does not move the others: they are laid over each other point by point."""
    from mockup.render.kept import Kept

    text = small_scene.read_text()
    small_scene.write_text(text + '[variants.long]\ntitle = "Long"\n[variants.long.set]\n"parts.body.outline" = "long.svg#body"\n')
    (small_scene.parent / "long.svg").write_text((small_scene.parent / "pipit.svg").read_text().replace("M 50 12", "M 50 4"))
    scene = load_scene(small_scene)
    made = shots([scene.with_variant(n) for n in ("honey", "long")], 4_000_000, kept=Kept())
    (a, _), (b, _) = made
    assert (a.width, a.height) == (b.width, b.height)
