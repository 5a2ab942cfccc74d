"""``mockup stain``: the library of stains, what they look like on wood, and stains learned or solved."""

from __future__ import annotations

from pathlib import Path

import click

from ..errors import MockupError
from .output import checked_file, note, table, wrote
from .plain import PlainCommand, PlainGroup
from .progress import progress, waiting
from .typed import COLOUR, NUMBERS

__all__ = ["stain"]

STRENGTHS = (0.0, 0.15, 0.35, 0.65, 1.0)


@click.group(cls=PlainGroup, example="mockup stain show honey\nmockup stain fit --bare bare.jpg --stained stained.jpg --name my-amber")
def stain() -> None:
    """The library of stains, and stains learned from your own test board."""


@stain.command("list", cls=PlainCommand, example="mockup stain list")
def _list() -> None:
    """List the stains, one a line: name, kind, what its colour rests on."""
    from ..scene.library import stains

    table((name, entry.value.words, entry.value.basis) for name, entry in stains().items())


@stain.command("show", cls=PlainCommand, example="mockup stain show honey\nmockup stain show my-amber.toml --on flame-maple-1,walnut-1 --strengths 0,0.5,1 --out amber.jpg\n"
                                                 "mockup stain show --all --out stains.png")
@click.argument("name", metavar="[NAME]", required=False)
@click.option("--all", "every", is_flag=True, help="Every stain of the library on every kind of wood.")
@click.option("--on", "woods", metavar="A,B,C", help='Boards of the library to show it on; left out, one of every kind.')
@click.option("--strengths", metavar="A,B,C", type=NUMBERS, help="Steps along the strip, 0 bare to 1 full; left out, 0,0.15,0.35,0.65,1.")
@click.option("--coat", metavar="NAME", default="water-borne", show_default=True, help='Clear coat over all of it; "none" leaves it dry.')
@click.option("--coats", metavar="N", type=click.IntRange(1, 30), default=3, show_default=True, help="How many coats.")
@click.option("--out", metavar="FILE", type=click.Path(path_type=Path),
              help="png, jpg, webp, tif or pdf by its ending; left out, a png here, named after the stain.")
def _show(name: str | None, every: bool, woods: str | None, strengths: tuple[float, ...] | None, coat: str, coats: int, out: Path | None) -> None:
    """Show a stain on strips of every kind of wood; NAME is one of the library's, or a stain file of your own."""
    from ..files.picture import SUFFIXES
    from ..files.whole import write_whole
    from ..papers.sheet import encode_page
    from .stain_pages import grid_page, strips_page

    if every == (name is not None):
        raise click.UsageError("Name one stain, or give --all.", click.get_current_context())
    steps = STRENGTHS if strengths is None else strengths
    if not 1 <= len(steps) <= 8 or any(not 0 <= s <= 1 for s in steps):
        raise MockupError(f"{', '.join(f'{s:g}' for s in steps[:9])} are no strengths for a strip.", fix="Give 1 to 8 numbers from 0 (bare) to 1 (full).")
    film = _film(coat)
    boards = None if woods is None else [w.strip() for w in woods.split(",") if w.strip()]
    value, file = _stain(name) if name is not None else (None, None)
    path = checked_file(out or Path(f"{_file_name(value.name)}.stain.png" if value else "stains.png"), (".pdf", *SUFFIXES),
                        [file] if file else [], reader="This command")
    with progress("Staining the strips") as report:
        if value is None:
            page = grid_page(film, coats, steps if strengths else (0.1, 0.35, 1.0), boards, report)
        else:
            page = strips_page(value, film, coats, steps, boards, report)
        write_whole(path, encode_page(page, path.suffix))
    wrote(path)


@stain.command("fit", cls=PlainCommand, example="mockup stain fit --bare bare.jpg --stained stained.jpg --name my-amber --size 180\n"
                                                "mockup stain fit --bare strip0.jpg --stained strip1.jpg --coated strip2.jpg "
                                                "--strengths 0.25,0.5,1 --name my-amber")
@click.option("--bare", metavar="PHOTO", type=click.Path(path_type=Path), required=True, help="The test board before staining.")
@click.option("--stained", metavar="PHOTO", type=click.Path(path_type=Path), required=True, help="The same piece stained, in the same light.")
@click.option("--coated", metavar="PHOTO", type=click.Path(path_type=Path), help="And clear-coated: the film is learned, too.")
@click.option("--name", metavar="NAME", required=True, help="What to call it in a scene.")
@click.option("--strengths", metavar="A,B,C", type=NUMBERS, default="1", show_default=True,
              help="Of a strip's equal steps along its longer side, in order; 1 is the stain as it comes, 0 a bare step.")
@click.option("--size", metavar="MM", type=float, help="Longer side of what the bare photo shows; left out, 200.")
@click.option("--coats", metavar="N", type=int, default=3, show_default=True, help="Coats of the film on the coated piece.")
@click.option("--wood", metavar="WORDS", default="", help="The kind of wood, for the papers.")
@click.option("--pigment/--dye", "pigment", default=None, help="Where you know which it is; left out, the photographs tell.")
@click.option("--out", metavar="FILE", type=click.Path(path_type=Path), help="A toml; left out, NAME.toml here.")
def _fit(bare: Path, stained: Path, coated: Path | None, name: str, strengths: tuple[float, ...], size: float | None, coats: int, wood: str,
         pigment: bool | None, out: Path | None) -> None:
    """Learn a stain from photographs of one test board before and after, and say how far off it may be."""
    from ..files.photo import read_photo
    from ..files.whole import write_all
    from ..finish.fit import fit_stain
    from ..scene.library import film_text, stain_text

    photos = [p for p in (bare, stained, coated) if p is not None]
    called = _name(name)
    path = checked_file(out or Path(f"{_file_name(called)}.toml"), (".toml",), photos, reader="This command")
    other = path.with_name(f"{path.stem}-film.toml")
    _refuse_other_files([path, other] if coated else [path])
    if size is not None and not 20 <= size <= 3000:
        raise MockupError(f"The photo is said to show {size:g} mm.", fix="Give the length of its longer side in mm, 20 to 3000.", where="size")
    with waiting(f"Learning {called}"):
        seen = [read_photo(p) for p in photos]
        for k, (photo, file) in enumerate(zip(seen, photos, strict=True)):
            if photo.sha256 in [other.sha256 for other in seen[:k]]:
                raise MockupError("This is the same photo as the one before.", fix="Photograph the piece again once it is stained or coated.",
                                  where=file.name)
        light = [_linear(photo, p.name) for photo, p in zip(seen, photos, strict=True)]
        mm = None if size is None else size / max(light[0].shape[:2])
        found = fit_stain(*light, name=called, mm_per_pixel=mm, strengths=strengths, coats=coats, wood=wood.strip(), pigment=pigment)
        origin = f"From photographs of a test board: {', '.join(p.name for p in photos)}."
        files = {path: stain_text(found.stain, origin).encode("utf-8")}
        if found.film is not None:
            files[other] = film_text(found.film, origin).encode("utf-8")
        write_all(files)
    wrote(*files)
    note(f"{found.stain.words}: {found.error.words()}.")
    if found.film_error is not None:
        note(f"The film over it: {found.film_error.words()}.")
    for text in found.notes:
        note(text)
    note(f'In a scene beside it: {{ stain = "{path.name}", strength = 1 }}.'
         + (f' The film: {{ coat = "{other.name}", coats = {coats} }}.' if found.film is not None else ""))


@stain.command("match", cls=PlainCommand, example="mockup stain match --target 52,24,38 --on flame-maple-1\n"
                                                  "mockup stain match honey --swatch swatch.jpg --on board.png\n"
                                                  "mockup stain match --target 52,24,38 --on maple-plain-1 --mix my-mix.toml")
@click.argument("name", metavar="[NAME]", required=False)
@click.option("--target", metavar="L,a,b", type=COLOUR, help="The colour wanted, as Lab (D65).")
@click.option("--swatch", metavar="PHOTO", type=click.Path(path_type=Path), help="Or a photo of it, cropped to the one colour.")
@click.option("--on", "board", metavar="BOARD", required=True,
              help='The wood: a board of the library, or the picture of one of your own that "mockup board" or "wood make" wrote.')
@click.option("--coat", metavar="NAME", default="water-borne", show_default=True, help='Clear coat over it; "none" leaves it dry.')
@click.option("--coats", metavar="N", type=click.IntRange(1, 30), default=3, show_default=True, help="How many coats.")
@click.option("--mix", metavar="FILE", type=click.Path(path_type=Path), help="Also write the dye that comes nearest of all, as a toml to use as a guide.")
def _match(name: str | None, target: tuple[float, ...] | None, swatch: Path | None, board: str, coat: str, coats: int, mix: Path | None) -> None:
    """Find how strong a stain must be to make a board one colour, and say when no dye can."""
    from ..files.whole import write_whole
    from ..scene.library import stain_text, stains
    from .stain_target import nearest_dye, nearest_stains, wanted_colour

    if (target is None) == (swatch is None):
        raise click.UsageError("Give --target or --swatch.", click.get_current_context())
    inputs = [p for p in (swatch, Path(board)) if p is not None]
    if mix is not None:
        checked_file(mix, (".toml",), inputs, reader="This command")
        _refuse_other_files([mix])
    film = _film(coat)
    choices = [_stain(name)[0]] if name is not None else [e.value for e in stains().values()]
    with waiting("Trying stains"):
        goal = wanted_colour(target, swatch)
        found = nearest_stains(choices, board, goal, film, coats)
        dye = nearest_dye(board, goal, film, coats, mix.stem if mix is not None else "mixed")
        if mix is not None:
            write_whole(mix, stain_text(dye.finish.steps[0].stain, "Solved for a colour, not measured: make a test board and fit it.").encode("utf-8"))
    click.echo(f"target  L* {goal[0]:.1f}   a* {goal[1]:.1f}   b* {goal[2]:.1f}")
    for one in found[:3]:
        click.echo(one.words)
    click.echo(dye.words)
    if mix is not None:
        wrote(mix)
    else:
        note("--mix FILE writes that dye down, to try it in a scene.")
    note("These are estimates of the library for this board; a test board tells.")


def _film(name: str):
    """A film of the library, or of a file; None for "none"."""
    from ..scene.library import films, find, read_film

    if name == "none":
        return None
    if name.endswith(".toml"):
        return read_film(Path(name))
    return find(name, films(), "film").value


def _stain(name: str):
    """A stain, and its file where it is one of the maker's own."""
    from ..scene.library import find, read_stain, stains

    if name.endswith(".toml"):
        return read_stain(Path(name)), Path(name)
    return find(name, stains(), "stain").value, None


def _name(name: str) -> str:
    called = " ".join(name.split())
    if not called or len(called) > 40 or any(not (c.isalnum() or c in " -_'") for c in called):
        raise MockupError(f'"{name[:60]}" is no name for a stain.', fix="Use up to 40 letters, digits, spaces and hyphens.", where="name")
    return called


def _file_name(name: str) -> str:
    return "-".join(name.lower().replace("'", "").split())


def _refuse_other_files(paths: list[Path]) -> None:
    """A toml that is no stain and no film is somebody's scene or board: it stays."""
    from ..scene.text import read_toml

    for path in paths:
        if not path.exists():
            continue
        try:
            own = "absorb" in read_toml(path)
        except MockupError:
            own = False
        if not own:
            raise MockupError("This file is there already, and is neither a stain nor a film.", fix="Choose another name with --out.",
                              where=str(path))


def _linear(photo, name: str):
    """(H, W, 3) float32 0..1 of a photo."""
    if photo.alpha is not None:
        raise MockupError("The photo has transparent pixels.", fix="Crop it to the wood, and save it as a JPEG.", where=name)
    return photo.pixels.astype("float32") / 65535
