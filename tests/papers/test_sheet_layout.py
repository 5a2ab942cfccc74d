"""Nothing on a sheet covers anything else, or leaves the page, whatever is said on it."""

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mockup.papers.page import Box, Line, Text, paper_size
from mockup.papers.sheet_layout import Cell, Facts, Sheet, lay_out

PAPERS = (None, paper_size("a4"), paper_size("letter"), paper_size("a3"))
LONG = ("A reason told at length, so that one sees what a sheet does when its maker has a lot to say of the choice, of what the client "
        "wished for, of the board and of the weather on the day the last coat went on. ") * 2


def sheet(count, *, title="Plover", option="Amber", why="Warm.", finish="Amber dye, four coats of oil varnish", parts=1,
          size=(380.0, 480.0), alike=(), part="Body", client=""):
    facts = tuple(Facts((f"{part} {k}" if k else part,), "flame maple (indicative)", finish, "gloss, 80 GU") for k in range(parts))
    cell = Cell(size, option, why, ((180, 120, 60),), ("L 50.0  a 10.0  b 30.0 · mean of body",), facts,
                ((200, 140, 80), (180, 120, 60), (160, 100, 40)), "Range, middle ΔE00\u00a08.4")
    return Sheet(title, "Revision A · 25 November 2026", client, (cell,) * count, tuple(alike), ("Wood varies, and screens differ.",) * 4)


def boxes(layout):
    """Boxes of all that is seen: pictures, patches, lines of text, rules."""
    found = [("picture", (f.x, f.y, f.x + f.width, f.y + f.height)) for f in layout.frames]
    return found + [(getattr(i, "text", type(i).__name__), i.bounds) for i in layout.items]


def check(layout):
    found = boxes(layout)
    for name, (x0, y0, x1, y1) in found:
        assert x0 >= 9 and y0 >= 9 and x1 <= layout.width - 9 and y1 <= layout.height - 9, (name, (x0, y0, x1, y1))
    for (one, a), (other, b) in itertools.combinations(found, 2):
        apart = a[2] <= b[0] + 1e-6 or b[2] <= a[0] + 1e-6 or a[3] <= b[1] + 1e-6 or b[3] <= a[1] + 1e-6
        assert apart, (one, a, other, b)


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("count", range(2, 9))
def test_any_number_of_options_has_its_place(count, paper):
    for size in ((380.0, 480.0), (480.0, 380.0), (300.0, 900.0), (900.0, 300.0)):
        check(lay_out(sheet(count, size=size, parts=2), paper))


@pytest.mark.parametrize("count", range(2, 9))
def test_two_to_four_in_a_row_five_to_eight_in_two(count):
    tops = [f.y for f in lay_out(sheet(count), None).frames]
    rows = {top: tops.count(top) for top in tops}
    expected = {2: [2], 3: [3], 4: [4], 5: [3, 2], 6: [3, 3], 7: [4, 3], 8: [4, 4]}[count]
    assert list(rows.values()) == expected


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("count", [2, 3, 4, 5, 8])
def test_the_longest_words_a_scene_allows_find_room(count, paper):
    layout = lay_out(sheet(count, title="The long title of a scene " * 4, option="Honey and amber under a wide burst of tobacco, in oil",
                           why=LONG[:400], finish="dark walnut stain at 35 %, sanded back, " * 12, parts=6, part="Cover of the electronics",
                           client="Somebody with a long name " * 4, alike=["Honey and Amber may look alike. " * 4] * 3), paper)
    check(layout)
    # And the pictures are still pictures.
    assert min(f.height for f in layout.frames) > 20


@given(st.integers(2, 8), st.sampled_from(PAPERS), st.text(max_size=60), st.text(max_size=400), st.text(max_size=600), st.integers(1, 5))
@settings(deadline=None, max_examples=60, derandomize=True)
def test_any_words_find_room(count, paper, option, why, finish, parts):
    check(lay_out(sheet(count, option=option, why=why, finish=finish, parts=parts), paper))


@given(st.integers(2, 8), st.sampled_from(PAPERS), st.integers(0, 400), st.integers(0, 900), st.integers(0, 60))
@settings(deadline=None, max_examples=40, derandomize=True)
def test_any_length_finds_room(count, paper, why, finish, option):
    words = "Honey dye rubbed in and sanded back " * 30
    check(lay_out(sheet(count, option=words[:option], why=words[:why], finish=words[:finish], parts=3), paper))


def test_paper_keeps_its_size_and_is_turned_to_show_more():
    for paper in PAPERS[1:]:
        wide, high = lay_out(sheet(3), paper), lay_out(sheet(2, size=(200.0, 900.0)), paper)
        assert (wide.width, wide.height) == paper[::-1] and (high.width, high.height) == paper
        assert lay_out(sheet(2, size=(900.0, 200.0)), paper).scale >= 120 / 900


def test_a_sheet_for_the_wall_is_that_of_the_desk_enlarged():
    """On A3 words and pictures grow together, so that no half of it stays empty and it is read from further off."""
    small, large = (lay_out(sheet(4, size=(380.0, 960.0), parts=4), paper_size(name)) for name in ("a4", "a3"))
    assert (large.width, large.height) == (297.0, 420.0)
    assert large.scale / small.scale == pytest.approx(2**0.5, rel=1e-3)
    for a, b in zip(small.items, large.items, strict=True):
        assert [v * 2**0.5 for v in a.bounds] == pytest.approx(b.bounds, abs=0.1)
    assert min(i.size for i in large.items if isinstance(i, Text)) >= 9


def test_all_pictures_are_of_one_scale():
    layout = lay_out(sheet(5), paper_size("a4"))
    assert len({(f.width, f.height) for f in layout.frames}) == 1
    assert layout.scale * 380 <= layout.frames[0].width + 1e-9


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("count", [2, 4, 7])
def test_rows_of_captions_are_level(count, paper):
    """What is said of one thing begins at one height in all the cells of a row, however long what stands above it is."""
    from dataclasses import replace

    plain = sheet(count, parts=3)
    burst = replace(plain.cells[0], colours=("L 60.0  a 10.0  b 30.0 · middle of body", "L 20.0  a 10.0  b 10.0 · edge"), why=LONG[:200],
                    facts=(replace(plain.cells[0].facts[0], finish="Amber dye at 35 %, sanded back, " * 6), *plain.cells[0].facts[1:]))
    layout = lay_out(replace(plain, cells=(*plain.cells[:-1], burst)), paper)
    for row in {f.y for f in layout.frames}:
        tops = {label: {round(i.y, 6) for f, c in zip(layout.frames, layout.captions, strict=True) if f.y == row for i in c
                        if isinstance(i, Text) and i.text.split(" ")[0].strip(",") == label} for label in ("Range", "Wood", "Finish", "Sheen")}
        assert all(len(heights) == 1 for heights in tops.values()), tops


def test_a_label_is_not_broken_for_want_of_a_millimetre():
    layout = lay_out(sheet(4, parts=2, part="Fretboard"), paper_size("a4"))
    assert any(i.text.startswith("Fretboard") for i in layout.captions[0] if isinstance(i, Text))


def test_no_reason_leaves_no_hole():
    def gap(why):
        layout = lay_out(sheet(2, why=why), None)
        texts = {i.text.split(" ")[0].strip(","): i.y for i in layout.captions[0] if isinstance(i, Text)}
        return texts["Range"] - next(i.y + i.height for i in layout.captions[0] if isinstance(i, Box))

    assert gap("") < 8
    assert gap("Warm.") > gap("") + 3


def test_readable_on_screen_and_on_paper():
    for paper, least in ((None, 7.5), (paper_size("a4"), 6.5), (paper_size("letter"), 6.5)):
        for count in range(2, 9):
            sizes = {i.size for i in lay_out(sheet(count, why=LONG[:400], parts=2), paper).items if isinstance(i, Text)}
            assert min(sizes) >= least * 0.92 - 1e-9
    # 9 points of a page 320 mm wide are 16 pixels of 1600.
    assert max(1, 9 * 25.4 / 72 * 1600 / 320) == pytest.approx(15.9, abs=0.1)


def test_rules_and_letters_are_neutral():
    for item in lay_out(sheet(3, alike=["These may look alike."]), None).items:
        if isinstance(item, (Text, Line)):
            assert len(set(item.colour)) == 1
