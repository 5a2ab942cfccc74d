"""Reads ``NAME.shop.toml`` or ``shop.toml`` beside a scene: what the shop knows and a picture does not need."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Any

from ..errors import MockupError, Problem
from ..finish.steps import Coat
from ..scene.places import shop_files
from ..scene.reader import Reader, offer, show
from ..scene.text import read_toml
from ..scene.values import Scene
from .address import checked_mail
from .frets import Frets
from .practice import FILM_KEYS, films_practice, practice_overrides
from .shop_values import FLAT, Allowance, Fitting, Shop

__all__ = ["read_shop", "shop_path"]

INCH = 25.4
DAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
LARGEST = 3000.0  # mm
UNITS_TOLD = 0.03  # of 25.4, within which two measures are taken to be in two units


def shop_path(scene: Scene) -> Path | None:
    """The shop's file of a scene: NAME.shop.toml in its folder, else shop.toml; None when there is neither."""
    return next((path for path in shop_files(scene.file) if path.is_file()), None)


def read_shop(scene: Scene) -> Shop:
    """The shop's values for a scene; the usual ones when it has no file.

    Raises one MockupError with every problem of the file, as a scene does.
    """
    path = shop_path(scene)
    if path is None:
        return Shop()
    problems: list[Problem] = []
    root = Reader(read_toml(path), (), problems)
    shop = _shop(root, scene, path.name)
    root.close()
    if problems:
        raise MockupError.several(problems).within(path.name, joint=": ")
    return shop


def _shop(root: Reader, scene: Scene, file: str) -> Shop:
    units = root.choice("units", ("mm", "in"), "mm")
    lengths = _Lengths(units)
    start, rest, mail = root.date("start"), _rest(root), _mail(root)
    bought = root.choice("bought", ("listed", "none"), "listed") == "listed"
    kerf = lengths.number(root, "kerf", 0, 10, 2.5)
    table = root.table("allowance")
    usual = Allowance()
    allowance = Allowance(length=lengths.number(table, "length", 0, 300, usual.length),
                          width=lengths.number(table, "width", 0, 300, usual.width),
                          thickness=lengths.number(table, "thickness", 0, 50, usual.thickness))
    table.close()
    sizes: dict[str, tuple[float, float]] = {}
    boards = _thicknesses(root, "boards", "board", scene.boards, lengths, sizes)
    parts = _thicknesses(root, "parts", "part", [p.name for p in scene.parts], lengths)
    films = _films(root, scene)
    frets = _frets(root, lengths)
    fittings = tuple(f for name, read in root.tables("fittings", 200, "fitting").items()
                     if (f := _fitting(read, name, scene, lengths)) is not None)
    return Shop(file=file, mail=mail, units=units, start=start or "", rest=rest, kerf=kerf, allowance=allowance, boards=boards, parts=parts,
                board_sizes=MappingProxyType(sizes), films=films, frets=frets, fittings=fittings, bought=bought)


class _Lengths:
    """Lengths in the file's unit, turned into mm."""

    def __init__(self, unit: str) -> None:
        self.unit, self.scale = unit, INCH if unit == "in" else 1.0

    def number(self, read: Reader, key: str, low: float, high: float, default: float | None) -> float:
        s = self.scale
        value = read.number(key, _nice(low / s), _nice(high / s), None if default is None else default / s, unit=self.unit)
        return round(value * s, 6)


def _nice(value: float) -> float:
    """Three digits: limits are read by people."""
    return float(f"{value:.3g}")


def _mail(root: Reader) -> str:
    mail = root.text("mail", "", longest=254)
    try:
        return checked_mail(mail) if mail else ""
    except MockupError as error:
        for problem in error.problems:
            root.note("mail", problem.found, problem.fix)
        return ""


def _rest(root: Reader) -> frozenset[int]:
    value = root.raw("rest", [])
    if not isinstance(value, list) or len(value) > 6:
        root.note("rest", f"Rest is {show(value)}.", 'Use a list of weekdays, as ["saturday", "sunday"], six at most.')
        return frozenset()
    found = set()
    for k, day in enumerate(value, 1):
        if isinstance(day, str) and day.lower() in DAYS:
            found.add(DAYS.index(day.lower()))
        else:
            root.note("rest", f"Rest day {show(day)} is no weekday.", offer(str(day), DAYS), k)
    return frozenset(found)


def _thicknesses(root: Reader, key: str, kind: str, known: Iterable[str], lengths: _Lengths,
                 sizes: dict[str, tuple[float, float]] | None = None) -> Mapping[str, float]:
    """Thicknesses by name; ``sizes`` takes what length and width stand beside them."""
    found, known = {}, list(known)
    for name, read in root.tables(key, 200, kind).items():
        if name not in known:
            read.note("", f'The scene has no {kind} "{name}".', offer(name, known))
            continue
        found[name] = lengths.number(read, "thickness", 0.2, 300, None)
        if sizes is not None and (read.has("length") or read.has("width")):
            sizes[name] = lengths.number(read, "length", 1, 10_000, None), lengths.number(read, "width", 1, 10_000, None)
        read.close()
    return MappingProxyType(found)


def _films(root: Reader, scene: Scene) -> Mapping[str, Mapping[str, Any]]:
    found: dict[str, Mapping[str, Any]] = {}
    table = root.table("films")
    # A film of the maker's own has no practice yet: it begins from that of "other".
    own = {s.film.name for view in (scene, *scene.views.values()) for p in view.parts for s in p.finish.steps if isinstance(s, Coat)}
    known = {*films_practice(), *own}
    for name, data in table.data.items():
        read = Reader(data, (*table.path, str(name)[:60]), root.problems)
        if name not in known:
            read.note("", f"There is no schedule for {show(name)}.", offer(name, known))
        elif not read.broken:
            found[name] = practice_overrides(read, FILM_KEYS)
    return MappingProxyType(found)


def _frets(root: Reader, lengths: _Lengths) -> Frets | None:
    if not root.has("frets"):
        return None
    read = root.table("frets")
    if read.broken:
        return None
    scale = lengths.number(read, "scale", 200, 1200, None)
    count = int(read.number("count", 1, 36, None, whole=True))
    nut = lengths.number(read, "nut", -LARGEST, LARGEST, None)
    widths = lengths.number(read, "nut_width", 10, 200, None), lengths.number(read, "end_width", 10, 200, None)
    up = read.flag("up", False)
    read.close()
    return Frets(scale=scale, count=count, nut=nut, widths=widths, up=up)


def _fitting(read: Reader, name: str, scene: Scene, lengths: _Lengths) -> Fitting | None:
    if read.broken:
        return None
    before = len(read.problems)
    title = read.text("title", name.replace("-", " ").replace("_", " ").capitalize())
    part = read.text("part", None, longest=60, fix='Name the part of wood it touches, or "none".')
    names = [p.name for p in scene.parts]
    if part and part != "none" and part not in names:
        read.note("part", f'There is no part "{part}".', offer(part, [*names, "none"]))
    side = read.choice("side", ("front", "back"), "front")
    at = _point(read, lengths)
    turn = read.number("turn", -360, 360, 0, unit="degrees")
    listed = _sizes(read, "listed", lengths, None)
    measured = _sizes(read, "measured", lengths, listed)
    route = _sizes(read, "route", lengths, listed)
    let_in = read.flag("let_in", bool(route) or "depth" in listed)
    tolerance = lengths.number(read, "tolerance", 0, 10, 0.2)
    clearance = lengths.number(read, "clearance", 0, 10, 0.1)
    read.close()
    if part != "none" and at is None and not read.has("at"):
        read.missing("at", "Give its middle in the drawing, as at = [0, 310].")
    if len(read.problems) > before:
        return None
    return Fitting(name=name, title=title, part="" if part == "none" else part, side=side, at=at or (0.0, 0.0), turn=turn,
                   listed=listed, measured=measured, tolerance=tolerance, clearance=clearance, route=route, let_in=let_in)


def _point(read: Reader, lengths: _Lengths) -> tuple[float, float] | None:
    point = read.point("at", 10_000 / lengths.scale)
    return None if point is None else (point[0] * lengths.scale, point[1] * lengths.scale)


def _sizes(read: Reader, key: str, lengths: _Lengths, listed: Mapping[str, float] | None) -> Mapping[str, float]:
    """Dimensions by name; ``listed`` is what others are held against, None while it is read itself."""
    if listed is None and not read.has(key):
        read.missing(key, f"Add {key} = {{ length = ..., width = ..., depth = ... }}, or diameter for a round part.")
        return MappingProxyType({})
    table = read.table(key)
    found = {k: lengths.number(table, k, 0.1, LARGEST, None) for k in (*FLAT, "depth") if table.has(k)}
    table.close()
    if listed is None:
        if not table.broken and not ({"length", "width"} <= set(found) or "diameter" in found):
            table.note("", "A part needs length and width, or a diameter.", "Add them as the maker of the part lists them.")
        elif {"length", "width"} & set(found) and "diameter" in found:
            table.note("", "A part has either length and width or a diameter.", "Take one of them out.")
        return MappingProxyType(found)
    for k, value in found.items():
        if k not in listed:
            if listed:
                table.note(k, f"It has no listed {k} to be held against.", f"Add {k} to listed.")
        elif any(abs(value / listed[k] / ratio - 1) < UNITS_TOLD for ratio in (INCH, 1 / INCH)):
            s = lengths.scale
            table.note(k, f"{value / s:g} beside a listed {listed[k] / s:g} looks like mm beside inches.",
                       f"Write all lengths of this file in {lengths.unit}.")
    return MappingProxyType(found)
