"""Each mistake in a scene file gives one line: file, key path, what was found, what to do."""

import pytest

from mockup.errors import MockupError
from mockup.scene.load import load_scene

ONE = [
    ("strength = 0.7", "strength = 4",
     "parts.top.finish.1.strength: Strength is 4. Use 0 (bare wood) to 1 (the stain as named)."),
    ("strength = 0.7", "strength = nan",
     "parts.top.finish.1.strength: Strength is nan. Use 0 (bare wood) to 1 (the stain as named)."),
    ("strength = 0.7", "strength = true",
     "parts.top.finish.1.strength: Strength is true. Use 0 (bare wood) to 1 (the stain as named)."),
    ("strength = 0.7", 'strength = "70%"',
     'parts.top.finish.1.strength: Strength is "70%", in quotes. Write 0.7, without quotes.'),
    ("strength = 0.7", "strenght = 0.7",
     'parts.top.finish.1.strenght: There is no key "strenght" here. Did you mean "strength"?'),
    ('stain = "amber"', 'stain = "ambre"',
     'parts.top.finish.1.stain: There is no stain named "ambre". Did you mean "amber"?'),
    ('coat = "oil varnish"', 'coat = "oil varnsh"',
     'parts.top.finish.4.coat: There is no film named "oil varnsh". Did you mean "oil varnish"?'),
    ("coats = 4", "coats = 2.5",
     "parts.top.finish.4.coats: Coats is 2.5. Use a whole number 1 to 30."),
    ("sand_back = 0.4", "sandback = 0.4",
     'parts.top.finish.2: No step is called "sandback". Did you mean "sand_back"?'),
    ("sand_back = 0.4", 'sand_back = 0.4, coat = "oil"',
     "parts.top.finish.2: One step holds sand_back and coat. Write each as a step of its own, in { }."),
    ("edge = 8", "edge = 80",
     "parts.top.finish.3.edge: Edge is 80, and the burst is 70 wide. "
     "Use less than 70 mm: the colour is full up to edge and gone at width."),
    ("width = 70", 'width = "7 cm"',
     'parts.top.finish.3.width: Width is "7 cm", in quotes. Write 70, without quotes; lengths are in mm.'),
    ("width = 2.2", 'width = "2,2mm"',
     'parts.top.binding.width: Width is "2,2mm", in quotes. Write 2.2, without quotes; lengths are in mm.'),
    ("width = 2.2", "width = -1", "parts.top.binding.width: Width is -1. Use 0.2 to 20 mm."),
    ("width = 2.2, ", "", "parts.top.binding.width: Width is missing. Add width = 0.2 to 20 mm."),
    ("colour = [86, 1.5, 12]", "colour = [186, 1.5, 12]",
     "parts.top.binding.colour.1: L is 186. Use 0 (black) to 100 (white)."),
    ("colour = [86, 1.5, 12]", "colour = [50, 110, -100]",
     "parts.top.binding.colour: Colour is Lab 50 110 -100, which no picture can show. Use a milder colour, as [51, 90, -76]."),
    ("colour = [86, 1.5, 12]", 'colour = "cream"',
     'parts.top.binding.colour: Colour is "cream". Use Lab, as [86, 1.5, 12], or "#rrggbb".'),
    ("sheen = 85", "sheen = 120", "parts.top.sheen: Sheen is 120. Use 0 (dead matt) to 95 (mirror gloss) GU."),
    ("sheen = 85", "sheeen = 85", 'parts.top.sheeen: There is no key "sheeen" here. Did you mean "sheen"?'),
    ('cut = "bookmatch"', 'cut = "book match"',
     'parts.top.cut: Cut is "book match". Did you mean "bookmatch"? Use "single", "bookmatch" or "slipmatch".'),
    ("joint = 152", "joint = 20",
     "parts.top.joint: The joint line at x = 20 misses the part, which spans 60.0 to 240.0. "
     'Move joint inside, or use cut = "single".'),
    ("at = [140, 240]", "at = [140]", "parts.body.at: At is a list of 1. Use two lengths in mm, [x, y]."),
    ("at = [140, 240]", "at = [140, inf]", "parts.body.at.2: Y is inf. Use -10000 to 10000 mm."),
    ('board = "maple"\nat', 'board = "mapel"\nat',
     'parts.body.board: There is no board named "mapel". Did you mean "maple"?'),
    ("wren.svg#body", "wren.svg#boddy",
     'parts.body.outline: There is no outline with the id "boddy" in wren.svg. Did you mean "body"?'),
    ("wren.svg#body", "wern.svg#body",
     'parts.body.outline: The file "wern.svg" does not exist. Did you mean "wren.svg"?'),
    ("wren.svg#body", "wren.svg",
     'parts.body.outline: Outline is "wren.svg". Write the file, a # and the id in it, as "body.svg#top".'),
    ("wren.svg#body", "../wren.svg#body",
     'parts.body.outline: "../wren.svg" leads out of the scene\'s folder. '
     "Put the file in that folder and name it from there, with / between folders."),
    ('photo = "maple.png"', 'photo = "/etc/hostname"', 'boards.maple.photo: "/etc/hostname" leads out of the scene'),
    ('photo = "maple.png"', "photo = 'C:\\maple.png'", "leads out of the scene's folder."),
    ('photo = "maple.png"', 'photo = "maple.pgn"', 'boards.maple.photo: The file "maple.pgn" does not exist.'),
    ('photo = "maple.png"\nmm_per_pixel = 2\nwood = "flame maple"\nactual = true', 'texture = "flame-mapl-1"',
     'boards.maple.texture: There is no texture named "flame-mapl-1". Did you mean "flame-maple-1"?'),
    ('photo = "maple.png"', 'photo = "maple.png"\ntexture = "flame-maple-1"',
     "boards.maple: The board has both texture and photo. Give it one of them"),
    ("actual = true", "", "boards.maple.actual: Actual is missing. Use actual = true when this very board will be used"),
    ("mm_per_pixel = 2", "mm_per_pixel = 0", "boards.maple.mm_per_pixel: Mm per pixel is 0. Use 0.002 to 5 mm."),
    ('hand = "right"', 'hand = "lefty"', 'scene.hand: Hand is "lefty". Did you mean "left"? Use "right" or "left".'),
    ("date = 2026-11-25", 'date = "2026-11-25"',
     'scene.date: Date is "2026-11-25". Write it without quotes: date = 2026-11-25.'),
    ('title = "Wren"', "title = 3", "scene.title: Title is 3. Use text in quotes."),
    ('title = "Wren"', 'title = "W\\u0007n"', "scene.title: Title holds characters that cannot be printed."),
    ("[scene]", "[sceen]\n[scene]", 'sceen: There is no key "sceen" here. Did you mean "scene"?'),
    ('height = 44', 'height = 44\n[parts."my body"]',
     'parts: A part is named "my body". Use letters, digits, - and _ only, at most 60 of them.'),
    ("[variants.plain]", '[variants."a/b"]',
     'variants: A variant is named "a/b". Use letters, digits, - and _ only, at most 60 of them.'),
    ('photo = "maple.png"', 'texture = "flame-maple-1"',
     "boards.maple.mm_per_pixel: mm_per_pixel goes with a photo. Take it out: a texture brings its own."),
    ("[variants.plain]", "[variants.Red]",
     "variants.red: It is named \"red\", and so is variants.Red. Give each its own."),
    ('title = "Plain"', 'title = "Red"', 'variants.red.title: It is titled "Red", and so is variants.plain.'),
    ('"parts.body.sheen" = 5', '"parts.body.sheen" = 500',
     "variants.red.set.parts.body.sheen: Sheen is 500. Use 0 (dead matt) to 95 (mirror gloss) GU."),
    ('"parts.body.sheen" = 5', '"parts.bdy.height" = 5',
     'variants.red.set.parts.bdy.height: The scene has no such value. Did you mean "parts.body.height"?'),
    ('"parts.body.sheen" = 5', '"parts.body.shene" = 5',
     'variants.red.set.parts.body.shene: There is no key "shene" here. Did you mean "sheen"?'),
    ('"parts.top.finish.6"', '"parts.top.finish.0"',
     "variants.red.set.parts.top.finish.0: parts.top.finish has 5 items, and this names item 0. "
     "Count from 1; 6 adds one."),
    ('"parts.top.finish.1.stain" = "red"', '"parts.top.finish.1.coat" = "oil"',
     "variants.red: parts.top.finish.1: One step holds stain and coat."),
    ('"parts.body.sheen" = 5', "parts.body.sheen = 5",
     'variants.red.set.parts: The path of a change is not in quotes. Write "parts.body.sheen" = 5.'),
    ('"parts.body.sheen" = 5', '"variants.plain.title" = "x"',
     "variants.red.set.variants.plain.title: A variant cannot change variants."),
]


@pytest.mark.parametrize(("old", "new", "words"), ONE, ids=[f"{n}-{w[:40]}" for n, (_, _, w) in enumerate(ONE)])
def test_one_mistake_gives_one_line(told, old, new, words):
    lines = told((old, new))
    assert len(lines) == (3 if "goes with a photo" in words else 1), lines
    assert lines[0].startswith("wren.toml: ") and words in lines[0]


@pytest.mark.parametrize(("element", "words"), [
    ('<g id="boddy"><rect width="30" height="20"/><rect x="50" width="30" height="20"/></g>',
     "wren.svg#boddy: This id names a group of 2 shapes. Give the id of one shape, or join them."),
    ('<text id="boddy">Wren</text>', "wren.svg#boddy: This id names text, which has no outline. Convert it to a path."),
    ('<rect id="r7" inkscape:label="boddy" xmlns:inkscape="http://www.inkscape.org/namespaces/inkscape" width="30" height="20"/>',
     'There is no outline with the id "boddy" in wren.svg. The shape labelled "boddy" has the id "r7".'),
])
def test_an_id_that_names_no_outline_is_told_for_what_it_is(told, folder, element, words):
    drawing = folder / "wren.svg"
    drawing.write_text(drawing.read_text().replace("</svg>", f"{element}</svg>"))
    assert told(("wren.svg#body", "wren.svg#boddy")) == [f"wren.toml: parts.body.outline: {words}"]


def test_several_mistakes_are_told_together_in_file_order(told):
    lines = told(("ground = [88, 0, 0]", "ground = [88, 0]"), ("mm_per_pixel = 2", "mm_per_pixel = inf"),
                 ("turn = 3", 'turn = "3°"'), ("strength = 0.7", "strength = -1"), ('"amber"', '"amberr"'),
                 ('"parts.body.sheen" = 5', '"parts.body.nose" = 5'))
    assert [line.split(": ")[1] for line in lines] == [
        "boards.maple.mm_per_pixel", "scene.ground", "parts.body.turn", "parts.top.finish.1.stain",
        "parts.top.finish.1.strength", "variants.red.set.parts.body.nose"]
    assert 'Turn is "3°", in quotes. Write 3, without quotes; it is in degrees.' in lines[2]


def test_a_mistake_of_the_base_is_not_told_again_for_each_variant(told):
    assert len(told(("height = 44", "height = -2"))) == 1


def test_syntax_error_gives_line_and_column_and_shows_the_line(told, good):
    [line] = told(("turn = 3", "turn = 3 mm"))
    number = 1 + next(i for i, row in enumerate(good.splitlines()) if row.startswith("turn"))
    assert line.startswith(f"wren.toml: line {number}, column ")
    assert 'in "turn = 3 mm". Write text in quotes, numbers bare' in line


def test_a_key_written_twice_is_refused(told):
    [line] = told(("turn = 3", "turn = 3\nturn = 4"))
    assert line.endswith(', column 9: This key is given twice, in "turn = 4". Take one of the two out, or put a # before it.')


@pytest.mark.parametrize("change, words", [
    (("[variants.plain]", "[parts.top]\n[variants.plain]"), 'This heading stands twice, in "[parts.top]". Put what stands under both under one of them.'),
    (("turn = 3", "turn = 3 mm"), 'More stands here than one value, in "turn = 3 mm". Write text in quotes'),
    (("turn = 3", 'cut = "single'), "The quote is not closed, in"), (("turn = 3", "turn 3"), "An = is missing after the key, in"),
    (("turn = 3", "turn = A"), "This is neither text in quotes nor a number, in"), (("turn = 3", "at = [1, 2"), "A [ before this is not closed, in"),
])
def test_slips_of_writing_are_told_in_a_makers_words(told, change, words):
    [line] = told(change)
    assert words in line and line.startswith("wren.toml: line ")


def test_an_open_bracket_at_the_end_is_refused(told):
    [line] = told(text="x = [1,")
    assert line.startswith("wren.toml: ") and "Traceback" not in line


@pytest.mark.parametrize(("data", "words"), [
    (b"", "wren.toml: The file is empty."),
    (b" \n\n", "wren.toml: The file is empty."),
    (b"# only a remark\n", "wren.toml: The scene has no boards and no parts."),
    (b"[scene]\ntitle = 'caf\xe9'", "wren.toml: Line 2 is not UTF-8 text. Save the file as UTF-8."),
    (b"\xff\xfe[\0s\0", "wren.toml: Line 1 is not UTF-8 text."),
    (b"x = " + b"[" * 5000 + b"]" * 5000, "wren.toml: Lists or tables are nested too deeply."),
    (b"x = " + b"9" * 5000, "wren.toml: "),
    (b"a." * 30_000 + b"b = 1", "wren.toml: line 1: The line holds more than 100 points. Spread it over more lines."),
    (b"a." * 90 + b"b = 1", "wren.toml: Lists or tables are nested too deeply. Flatten them."),
    (b"[boards.a]\n[scene]\n", "wren.toml: parts: The scene has no parts. Add at least one, as [parts.body]."),
    (b"parts = 3\n", "wren.toml: parts: Parts is 3. Use a table of key = value."),
])
def test_files_that_are_no_scene(folder, data, words):
    (folder / "wren.toml").write_bytes(data)
    with pytest.raises(MockupError) as caught:
        load_scene(folder / "wren.toml")
    assert words in str(caught.value)


def test_a_file_over_a_million_bytes_is_not_read(folder):
    (folder / "wren.toml").write_bytes(b"#" * 1_000_001)
    with pytest.raises(MockupError, match="wren.toml"):
        load_scene(folder / "wren.toml")


def test_counts_are_limited(told, good):
    parts = "".join(f'[parts.p{n}]\noutline = "wren.svg#body"\n' for n in range(201))
    assert told(text=parts)[0] == "wren.toml: parts: There are 201 parts. Use at most 200."
    variants = "".join(f"[variants.v{n}]\n" for n in range(65))
    assert told(text=good + variants)[0] == "wren.toml: variants: There are 67 variants. Use at most 64."
    steps = ", ".join(["{ sand_back = 0.1 }"] * 25)
    assert told(("height = 44", f"finish = [{steps}]"))[0] == (
        "wren.toml: parts.body.finish: Finish has 25 steps. Use at most 24.")


def test_at_most_forty_problems_are_told(told):
    lines = told(("height = 44", "\n".join(f"wrong{n} = 1" for n in range(100))))
    assert len(lines) == 41 and lines[-1].startswith("wren.toml: There are more problems, 60 or over.")


@pytest.mark.parametrize("what", ["file", "folder"])
def test_a_link_out_of_the_folder_is_refused(folder, told, what):
    outside = folder.parent / "outside"
    outside.mkdir()
    (outside / "far.svg").write_text((folder / "wren.svg").read_text())
    if what == "file":
        (folder / "near.svg").symlink_to(outside / "far.svg")
        [line] = told(("wren.svg#body", "near.svg#body"))
    else:
        (folder / "near").symlink_to(outside)
        [line] = told(("wren.svg#body", "near/far.svg#body"))
    assert "is a link out of the scene's folder. Put the file itself in that folder." in line


def test_a_link_that_leads_in_a_circle_is_refused(folder, told):
    (folder / "a.svg").symlink_to(folder / "b.svg")
    (folder / "b.svg").symlink_to(folder / "a.svg")
    [line] = told(("wren.svg#body", "a.svg#body"))
    assert "parts.body.outline: The file" in line


def test_a_link_inside_the_folder_is_followed(folder):
    (folder / "same.svg").symlink_to(folder / "wren.svg")
    file = folder / "wren.toml"
    file.write_text(file.read_text().replace("wren.svg#body", "same.svg#body"))
    assert load_scene(file).parts[0].shape.area == pytest.approx(200 * 200)


def test_a_picture_with_a_wrong_scale_is_refused(told):
    [line] = told(("mm_per_pixel = 2", "mm_per_pixel = 2\ngrain = 999"))
    assert "boards.maple.grain: Grain is 999. Use -180 to 180 degrees." in line


def test_a_broken_picture_or_drawing_is_told_at_its_key(folder, told):
    (folder / "maple.png").write_bytes(b"no picture")
    (folder / "wren.svg").write_text("<svg")
    lines = told()
    assert lines[0].startswith("wren.toml: boards.maple.photo: ")
    assert lines[1].startswith("wren.toml: parts.body.outline: ")


@pytest.mark.parametrize(("name", "words"), [
    ("trn", 'There is no scene "trn". Did you mean "tern"? Or give the path of a scene file.'),
    ("", "No scene is named."),
    ("no/such/file.toml", 'There is no scene "no/such/file.toml". Check the path.'),
])
def test_unknown_scenes(name, words):
    with pytest.raises(MockupError) as caught:
        load_scene(name)
    assert words in str(caught.value)


def test_a_misspelt_file_offers_the_one_beside_it(folder):
    with pytest.raises(MockupError, match='Did you mean "wren.toml"'):
        load_scene(folder / "wern.toml")


def test_a_folder_without_a_scene(folder, tmp_path):
    with pytest.raises(MockupError, match="holds no scene.toml"):
        load_scene(tmp_path)
