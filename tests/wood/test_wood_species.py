"""The woods: enough of them, of the right colour, and species files that say what is wrong with them."""

import re
import tomllib
from pathlib import Path

import cv2
import numpy as np
import pytest

import mockup.wood.species as species_module
from mockup.colour.spaces import linear_to_lab
from mockup.errors import MockupError
from mockup.wood import board_rgb, contact_sheet, load_species, make_board, read_species, species_names

FOLDER = Path(species_module.__file__).parent / "species"
WANTED = {"maple", "flame-maple", "quilt-maple", "birdseye-maple", "roasted-maple", "swamp-ash", "alder", "mahogany",
          "sapele", "black-limba", "walnut", "cherry", "spruce", "rosewood", "ebony", "purpleheart", "pale-limba", "basswood"}


def mean(board):
    return linear_to_lab(board.reflectance[::2, ::2].astype(np.float64)).reshape(-1, 3).mean(0)


def test_the_woods_are_there():
    assert set(species_names()) >= WANTED and len(WANTED) >= 14


@pytest.mark.parametrize("name", sorted(WANTED))
def test_mean_colour_lies_in_its_band(board_of, name):
    """Bands are recalled ranges, low confidence, except spruce: their source is named in each species file."""
    wood = load_species(name)
    low, high = np.array(wood.band)
    assert wood.source
    for board in (board_of(name), make_board(name, size_mm=(40, 40), seed=21, px_per_mm=2, faults="none")):
        colour = mean(board)
        assert (low <= colour).all() and (colour <= high).all(), colour.round(1)


def test_spruce_has_its_published_mean():
    """Picea abies, fresh: L* 80.08 sd 3.70, a* 7.55 sd 2.13, b* 21.56 sd 1.79 (Wood Research, "Impact of temperature and
    ultraviolet radiation on changes of colour of fir and spruce wood", abstract). The mean of many boards lies within half of that."""
    boards = [mean(make_board("spruce", size_mm=(40, 40), seed=s, px_per_mm=2)) for s in range(6)]
    assert (np.abs(np.mean(boards, axis=0) - [80.08, 7.55, 21.56]) < 0.5 * np.array([3.70, 2.13, 1.79])).all()


@pytest.mark.parametrize("name", ["flame-maple", "walnut", "ebony"])
def test_two_boards_of_a_wood_differ(board_of, name):
    a, b = (linear_to_lab(board_of(name, seed=s).reflectance.astype(np.float64))[..., 0] for s in (5, 6))
    assert abs(np.corrcoef(a.ravel(), b.ravel())[0, 1]) < 0.5


def test_darker_is_warmer_in_pale_woods_and_duller_in_dark_ones(board_of):
    """Nishino, Janin et al. 1998, J Wood Sci 44, 3-8: above L* 54 chroma falls as L* rises, below it rises with L*."""
    for name in ("maple", "swamp-ash", "flame-maple", "walnut", "rosewood"):
        lab = linear_to_lab(board_of(name).reflectance[::3, ::3].astype(np.float64)).reshape(-1, 3)
        together = np.corrcoef(lab[:, 0], lab[:, 2])[0, 1]
        assert (together < -0.2) if lab[:, 0].mean() > 54 else (together > 0.2), (name, together)


def test_every_species_file_is_commented_and_short():
    for file in FOLDER.glob("*.toml"):
        text = file.read_text("utf-8")
        assert text.startswith("#") and len(text.splitlines()) < 100, file.name


def test_a_copied_file_makes_a_new_wood(tmp_path):
    text = (FOLDER / "alder.toml").read_text("utf-8").replace("lab = [69.0, 10.0, 22.5]", "lab = [60.0, 6.0, 30.0]")
    file = tmp_path / "osage.toml"
    file.write_text(text, "utf-8")
    wood = read_species(file)
    assert wood.name == "osage"
    colour = mean(make_board(wood, size_mm=(40, 40), px_per_mm=3, faults="none"))
    assert np.abs(colour - [60, 6, 30]).max() < 2.5


@pytest.mark.parametrize("line, words", [
    ('cutt = "flat"', 'cutt: "cutt" is not a setting here. Did you mean "cut"?'),
    ('cut = "plain"', "cut: 'plain' does not fit. Use one of flat, rift, quarter."),
    ("lab = [1, 2]", "lab: [1, 2] does not fit. Use a list of 3."),
    ("[rings]\nwidth = 0", "rings.width: 0 does not fit. Use a number from 0.2 to 100."),
    ('[rings]\nwidth = "wide"', "rings.width: 'wide' does not fit. Use a number."),
    ("[rings]\nwidth = nan", "rings.width: nan does not fit. Use a number."),
    ("[rings]\nwidth = 0.001", "rings.width: 0.001 does not fit. Use a number from 0.2 to 100."),
    ("[[pores]]\ndensity = 1", "pores: diameter is missing."),
    ("[[pores]]\ndensity = 1e6\ndiameter = 0.1\nlength = 3", "pores.density: 1000000.0 does not fit. Use a number from 0 to 20."),
    ("rings = 3", "rings: 3 does not fit. Use a table."),
    ("words = 5", "words: 5 does not fit. Use text in quotes."),
    ("[light]\nbeta = true", "light.beta: True does not fit. Use a number."),
])
def test_a_faulty_species_file_says_what_is_wrong(tmp_path, line, words):
    base = {"words": 'words = "a wood"\n', "lab": "lab = [70, 5, 20]\n"}
    base.pop(line.split(" ")[0], None)
    file = tmp_path / "new.toml"
    file.write_text(("".join(base.values()) + line) if line.startswith("[") else line + "\n" + "".join(base.values()), "utf-8")
    with pytest.raises(MockupError) as error:
        read_species(file)
    assert str(error.value).startswith(f"new.toml: {words}"), str(error.value)


def test_all_mistakes_come_at_once(tmp_path):
    file = tmp_path / "new.toml"
    file.write_text('wrods = "x"\n[rings]\nwidht = 2\nline = -1\n', "utf-8")
    with pytest.raises(MockupError) as error:
        read_species(file)
    assert len(error.value.problems) == 5   # two unknown, one too small, two missing


def test_what_is_no_species_file(tmp_path):
    for content, words in ((None, "cannot be read"), (b"\xff\xfe", "cannot be read"), (b"a = = 3", "not TOML")):
        file = tmp_path / "x.toml"
        if content is None:
            file = tmp_path / "absent.toml"
        else:
            file.write_bytes(content)
        with pytest.raises(MockupError, match=words):
            read_species(file)


def test_textures_of_the_library_name_a_known_wood():
    """Each TOML in textures/ has its picture, a species that can still be sawn, and the whole folder is small."""
    folder = Path(species_module.__file__).parents[2] / "textures"
    files = sorted(folder.glob("*.toml"))
    assert files
    for file in files:
        data = tomllib.loads(file.read_text("utf-8"))
        assert data["species"] in species_names() and data["actual"] is False and data["grain"] == 90
        assert any(file.with_suffix(s).exists() for s in (".jpg", ".webp")), file.name
    assert sum(f.stat().st_size for f in folder.iterdir()) < 25e6


def test_contact_sheet_shows_each_wood():
    seen = []
    page = contact_sheet(["ebony", "maple", "cherry"], tile_mm=(30, 30), px_per_mm=2, columns=2, report=seen.append)
    assert page.dtype == np.uint8 and page.ndim == 3 and page.shape[2] == 3
    assert len(seen) == 3 and seen[-1] == 1
    gap = 8
    tile = lambda x, y: page[y + 5: y + 50, x + 5: x + 50].mean()
    assert tile(gap, gap) < 90 < tile(gap + 60 + gap, gap)
    assert (page[gap + 60: gap + 85, gap: gap + 60].min() < 120)      # words under the tile
    with pytest.raises(MockupError, match="no wood to show"):
        contact_sheet([])


@pytest.mark.parametrize("name", ["rosewood-1", "flame-maple-1"])
def test_a_texture_is_what_its_words_say_it_is(name):
    """Sawn again as ``made`` tells, the board is the picture (JPEG of quality 82, so to 3 codes in the mean)."""
    folder = Path(species_module.__file__).parents[2] / "textures"
    words = tomllib.loads((folder / f"{name}.toml").read_text("utf-8"))["made"]
    wood, cut, seed, faults = re.fullmatch(
        r"generated: species (\S+), cut (\w+), seed (\d+)(?:, faults (\w+))?, 6 px/mm", words).groups()
    picture = cv2.cvtColor(cv2.imread(str(folder / f"{name}.jpg")), cv2.COLOR_BGR2RGB)
    size = picture.shape[1] / 6, picture.shape[0] / 6
    # The seed knows the board by its size, so it is sawn whole, but coarsely.
    board = make_board(wood, size_mm=size, cut=cut, seed=int(seed), faults=faults or "natural", px_per_mm=2)
    small = cv2.resize(picture, board.reflectance.shape[1::-1], interpolation=cv2.INTER_AREA).astype(int)
    assert np.abs(small - board_rgb(board)).mean() < 3
