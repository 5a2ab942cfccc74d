"""``mockup wood``: the library of woods as a list and as a picture, and new boards from the generator."""

from __future__ import annotations

from pathlib import Path

import click

from ..errors import MockupError
from .output import checked_file, note, table, wrote
from .plain import PlainCommand, PlainGroup
from .progress import progress
from .typed import SIZE

__all__ = ["wood"]

TILE = (105.0, 140.0)  # mm of a board that a tile of the contact sheet shows


@click.group(cls=PlainGroup, example="mockup wood list --out woods.png\nmockup wood make walnut --size 600x200 --seed 7")
def wood() -> None:
    """The library of woods, and new boards drawn from scratch."""


@wood.command("list", cls=PlainCommand, example="mockup wood list\nmockup wood list --out woods.png\nmockup wood list --kinds --out kinds.png")
@click.option("--kinds", is_flag=True, help='The kinds of wood that "wood make" can draw, instead of the boards a scene can name.')
@click.option("--out", metavar="FILE", type=click.Path(path_type=Path), help="A picture of them all as well: png, jpg, webp, tif or pdf.")
def _list(kinds: bool, out: Path | None) -> None:
    """List the boards a scene can name, one a line: name, wood, cut, how fine its picture is."""
    from ..scene.library import texture, textures
    from ..wood.species import load_species, species_names

    if out is not None:
        from ..files.picture import SUFFIXES

        checked_file(out, (".pdf", *SUFFIXES))
    if kinds:
        woods = [load_species(name) for name in species_names()]
        table((w.name, w.words, f"usually {_cut_words(w.cut)}") for w in woods)
    else:
        boards = [texture(file) for file in textures().values()]
        table((b.name, b.wood, b.cut, f"{b.mm_per_pixel:g} mm per pixel") for b in boards)
    if out is None:
        return
    from ..files.whole import write_whole
    from ..papers.sheet import encode_page
    from .tiles import Tile, tile_page

    with progress("Drawing the woods") as report:
        if kinds:
            tiles = [Tile(pixels, w.name, _cut_words(w.cut)) for w, pixels in zip(woods, _sawn(woods, report), strict=True)]
            page = tile_page(f"{len(tiles)} kinds of wood", "Each tile shows 105 x 140 mm of a board drawn with seed 7.", tiles)
        else:
            tiles = [Tile(_piece(b), b.name, f"{b.wood}, {_cut_words(b.cut)}" if b.cut else b.wood) for b in boards]
            page = tile_page(f"{len(tiles)} boards of the library", "Each tile shows 105 x 140 mm, all at one scale.", tiles)
        write_whole(out, encode_page(page, out.suffix))
    wrote(out)


def _cut_words(cut: str) -> str:
    return {"flat": "flat-sawn", "rift": "rift-sawn", "quarter": "quartered"}.get(cut, cut)


def _sawn(woods, report):
    """A tile of each kind, (H, W, 3) uint8 sRGB."""
    from ..wood.board import make_board
    from ..wood.texture import board_rgb

    for n, kind in enumerate(woods, 1):
        yield board_rgb(make_board(kind, size_mm=TILE, seed=7, px_per_mm=3))
        report(n / len(woods))


def _piece(board):
    """The middle of a board of the library, (H, W, 3) uint8 sRGB at 3 pixels per mm, its grain upright."""
    import cv2

    from ..colour.spaces import encode_srgb
    from ..files.photo import read_photo

    pixels = read_photo(board.picture).pixels
    if abs(board.grain) < 45:
        pixels = pixels.swapaxes(0, 1)
    height, width = pixels.shape[:2]
    w, h = min(width, round(TILE[0] / board.mm_per_pixel)), min(height, round(TILE[1] / board.mm_per_pixel))
    x, y = (width - w) // 2, (height - h) // 2
    piece = cv2.resize(pixels[y:y + h, x:x + w], (round(TILE[0] * 3), round(TILE[1] * 3)), interpolation=cv2.INTER_AREA)
    return (encode_srgb(piece.astype("float32") / 65535) * 255 + 0.5).astype("uint8")


@wood.command("make", cls=PlainCommand, example="mockup wood make flame-maple --cut quarter --size 600x200 --seed 7\n"
                                                "mockup wood make walnut --size 550x180 --faults knot,sapwood --out planks/walnut.jpg")
@click.argument("species", metavar="SPECIES")
@click.option("--cut", metavar="flat|rift|quarter", help="How it is sawn; left out, as is usual for the wood.")
@click.option("--size", metavar="LENGTHxWIDTH", type=SIZE, default="600x200", show_default=True,
              help="In mm; the grain runs along the longer side.")
@click.option("--seed", metavar="N", type=int, default=1, show_default=True, help="Another number is another board; the same one comes again.")
@click.option("--faults", metavar="WORDS", default="natural", show_default=True,
              help="natural (as often as the wood has them), none, or what it must have out of mineral,knot,sapwood.")
@click.option("--light", metavar="flat|raking", type=click.Choice(["flat", "raking"]), default="flat", show_default=True,
              help="raking shows the figure as a low window does: a picture to look at, not for a scene.")
@click.option("--scale", metavar="PX_PER_MM", type=float, default=6.0, show_default=True, help="Pixels per mm.")
@click.option("--out", metavar="FILE", type=click.Path(path_type=Path),
              help="png, jpg, webp or tif by its ending; left out, a png here, named after wood and seed.")
def _make(species: str, cut: str | None, size: tuple[float, float], seed: int, faults: str, light: str, scale: float, out: Path | None) -> None:
    """Draw a board of a kind of wood, and the file that says what it is, for a scene to name."""
    from ..files.picture import SUFFIXES, encode_picture
    from ..files.whole import write_all
    from ..wood.board import make_board
    from ..wood.species import load_species
    from ..wood.texture import board_rgb, board_toml

    kind = load_species(_called(species))
    stem = ".".join(w for w in (f"{kind.name}-{seed}", "raking" if light == "raking" else None) if w)
    path = checked_file(out or Path(f"{stem}.png"), SUFFIXES)
    record = path.with_suffix(".toml")
    if record.exists() and not _drawn(record):
        raise MockupError("This file is there already, and is not one of a drawn board.", fix="Choose another name with --out.", where=str(record))
    named = faults.strip() if faults.strip() in ("natural", "none") else [f for f in faults.replace(" ", ",").split(",") if f]
    with progress(f"Sawing {kind.name}") as report:
        board = make_board(kind, size_mm=(min(size), max(size)), cut=cut, seed=seed, px_per_mm=scale, faults=named, light=light,
                           report=lambda share: report(0.9 * share))
        files = {path: encode_picture(board_rgb(board), path.suffix, px_per_mm=scale, quality=95)}
        if light == "flat":
            files[record] = board_toml(board).encode("utf-8")
        write_all(files)
    wrote(*files)
    if light == "flat":
        note(f'In a scene beside it: photo = "{path.name}" under [boards.NAME]; the rest stands in {record.name}.')
    else:
        note("Lit from the side, so it is for looking at: a scene needs the same board in flat light.")


def _called(name: str) -> str:
    """The name of a species by its own, its words, or a board of the library, as "mockup wood list" prints them; else the name, dashed."""
    from ..scene.library import texture, textures
    from ..wood.species import load_species, species_names

    dashed = _dashed(name)
    if dashed in species_names():
        return dashed
    known = {_dashed(load_species(n).words): n for n in species_names()}
    boards = {_dashed(n): _dashed(texture(file).wood) for n, file in textures().items()}
    return known.get(dashed) or known.get(boards.get(dashed, ""), dashed)


def _dashed(name: str) -> str:
    return "-".join(name.lower().replace("_", " ").replace("-", " ").split())


def _drawn(record: Path) -> bool:
    """Whether a TOML file is one that this command wrote."""
    from ..scene.text import read_toml

    try:
        return str(read_toml(record).get("made", "")).startswith("generated:")
    except MockupError:
        return False
