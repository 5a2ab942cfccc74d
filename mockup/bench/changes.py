"""What the page can change, each as a ``Change`` of the document."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Mapping
from typing import Any

from ..errors import MockupError, nearest
from ..scene.library import textures
from ..scene.part import CUTS
from ..scene.rewrite import with_order, with_values, with_variant, without
from ..scene.values import Scene
from .document import Change
from .state import MOST_PINNED
from .tries import everywhere, look_of, read_try, tried

__all__ = ["change_of"]

PLACE = ("at", "turn")


def change_of(scene: Scene, text: str, wish: Mapping[str, Any]) -> Change:
    """The change that a wish of the page stands for; MockupError when it makes no sense."""
    makers: dict[Any, Callable[[Scene, str, Mapping[str, Any]], Change]] = {
        "finish": _finish, "place": _place, "wood": _wood, "cut": _cut, "pin": _pin, "unpin": _unpin, "name": _name, "order": _order}
    if (make := makers.get(wish.get("do"))) is None:
        raise MockupError("The page asked for something that is not known here.", fix="Load the page again.")
    return make(scene, text, wish)


def _raw(text: str) -> dict[str, Any]:
    return tomllib.loads(text.removeprefix("\ufeff"))


def _part(scene: Scene, wish: Mapping[str, Any]):
    found = next((p for p in scene.parts if p.name == wish.get("part")), None)
    if found is None:
        raise MockupError(f'There is no part "{str(wish.get("part"))[:40]}".', fix=nearest(str(wish.get("part")), [p.name for p in scene.parts]))
    return found


def _look(scene: Scene, wish: Mapping[str, Any]) -> str | None:
    look = wish.get("look")
    if look is not None:
        scene.with_variant(str(look))
    return None if look is None else str(look)


def _words(wish: Mapping[str, Any], usual: str) -> str:
    text = " ".join(str(wish.get("words") or usual).split())
    return "".join(c for c in text if c.isprintable())[:90]


def _deeper(changes: Mapping[str, Any], path: str) -> list[str]:
    return [p for p in changes if p.startswith(f"{path}.")]


def _finish(scene: Scene, text: str, wish: Mapping[str, Any]) -> Change:
    """Steps and sheen of one part in one look."""
    part, look, what = _part(scene, wish), _look(scene, wish), read_try(wish)
    if what.steps is None and what.sheen is None:
        raise MockupError("Neither steps nor a sheen were given.")
    tried(look_of(scene, look), next(p for p in look_of(scene, look).parts if p.name == part.name), what)
    own = f"parts.{part.name}"

    def change(text: str) -> str:
        for key, value in (("finish", what.steps), ("sheen", what.sheen)):
            if value is None:
                continue
            if look is None:
                text = with_values(text, {("parts", part.name, key): value})
                continue
            for path in _deeper(_raw(text)["variants"][look].get("set", {}), f"{own}.{key}"):
                text = without(text, ("variants", look, "set", path))
            text = with_values(text, {("variants", look, "set", f"{own}.{key}"): value})
        return text

    keys = [key for key, value in (("finish", what.steps), ("sheen", what.sheen)) if value is not None]
    saying = frozenset(v.name for v in scene.variants if any(p == f"{own}.{k}" or p.startswith(f"{own}.{k}.") for p in v.changes for k in keys))
    if saying and look is None:
        return Change(_words(wish, part.title), f"{look}.{part.name}.finish", change)  # a look may change one step of a list: read all again
    return Change(_words(wish, part.title), f"{look}.{part.name}.finish", change, lambda s: everywhere(s, part.name, look, what, saying))


def _place(scene: Scene, text: str, wish: Mapping[str, Any]) -> Change:
    """Where on its board a part lies: for all looks, as there is one piece of wood, but in those that say otherwise."""
    part, look, what = _part(scene, wish), _look(scene, wish), read_try(wish)
    if what.at is None and what.turn is None:
        raise MockupError("No place was given.")
    tried(scene, part, what)
    values = {k: v for k, v in (("at", None if what.at is None else [round(v, 2) for v in what.at]),
                                ("turn", None if what.turn is None else round(what.turn, 2))) if v is not None}

    def change(text: str) -> str:
        own = {} if look is None else _raw(text)["variants"][look].get("set", {})
        return with_values(text, {(("variants", look, "set", f"parts.{part.name}.{k}") if f"parts.{part.name}.{k}" in own else ("parts", part.name, k)): v
                                  for k, v in values.items()})

    if any(f"parts.{part.name}.{k}" in v.changes for v in scene.variants for k in (*PLACE, "board", "cut", "joint")):
        return Change(_words(wish, f"{part.title}: moved on its board"), f"{part.name}.wood", change)
    return Change(_words(wish, f"{part.title}: moved on its board"), f"{part.name}.wood", change, lambda s: everywhere(s, part.name, None, what, frozenset()))


def _wood(scene: Scene, text: str, wish: Mapping[str, Any]) -> Change:
    """Another board under a part: one of the scene, or a wood of the library."""
    part = _part(scene, wish)
    board, kind = wish.get("board"), wish.get("texture")
    if kind is not None and kind not in textures():
        raise MockupError(f'There is no wood "{str(kind)[:40]}".', fix=nearest(str(kind), textures()))
    if kind is None and board not in scene.boards:
        raise MockupError(f'There is no board "{str(board)[:40]}".', fix=nearest(str(board), scene.boards))

    def change(text: str) -> str:
        raw, name = _raw(text), board
        if kind is not None:
            name = next((n for n, b in raw.get("boards", {}).items() if b == {"texture": kind}), None)
            if name is None:
                name = _free(re.sub(r"-\d+$", "", str(kind)), raw.get("boards", {}))
                text = with_values(text, {("boards", name, "texture"): kind})
        text = with_values(text, {("parts", part.name, "board"): name})
        # Another board, another place: the middle of it, along its grain, until the maker moves it.
        for key in PLACE:
            text = without(text, ("parts", part.name, key))
        return text

    return Change(_words(wish, f"{part.title}: {kind or board}"), f"{part.name}.wood", change)


def _free(name: str, taken: Mapping[str, Any]) -> str:
    name = re.sub(r"[^A-Za-z0-9_-]+", "-", name).strip("-")[:40] or "board"
    return name if name not in taken else next(f"{name}-{n}" for n in range(2, 1000) if f"{name}-{n}" not in taken)


def _cut(scene: Scene, text: str, wish: Mapping[str, Any]) -> Change:
    """One piece or two, and where they are joined; ``at`` goes with a joint that moves while the wood of the right piece stays."""
    part, what = _part(scene, wish), read_try({k: wish.get(k) for k in ("joint", "at")})
    values: dict[tuple[str, ...], Any] = {}
    if wish.get("cut") is not None:
        if wish["cut"] not in CUTS:
            raise MockupError(f'There is no cut "{str(wish["cut"])[:20]}".', fix=nearest(str(wish["cut"]), CUTS))
        values["parts", part.name, "cut"] = wish["cut"]
    if what.joint is not None:
        tried(scene, part, what)
    if not values and what.joint is None:
        raise MockupError("No cut was given.")

    def change(text: str) -> str:
        text = with_values(text, values)
        if what.joint is not None:
            # The file speaks of the drawing, which a left-handed instrument has mirrored.
            left = _raw(text)["scene"].get("hand") == "left"
            text = with_values(text, {("parts", part.name, "joint"): round(2 * scene.centre - what.joint if left else what.joint, 2)})
            if what.at is not None:
                text = with_values(text, {("parts", part.name, "at"): [round(v, 2) for v in what.at]})
        if ("parts", part.name, "cut") in values and wish["cut"] != part.placement.cut:
            text = without(text, ("parts", part.name, "at"))  # it meant another point of the part
        return text

    return Change(_words(wish, f"{part.title}: {wish.get('cut') or 'joint'}"), f"{part.name}.wood", change)


def _pin(scene: Scene, text: str, wish: Mapping[str, Any]) -> Change:
    """The look on the bench as one more to choose from, every finish written out, so that it stays as it is."""
    look = _look(scene, wish)
    if len(scene.variants) >= MOST_PINNED:
        raise MockupError(f"{MOST_PINNED} looks are side by side already.", fix="Take one away first.")
    title = _text(wish.get("title"), "title", 60) or f"Look {len(scene.variants) + 1}"
    why = _text(wish.get("why"), "why", 400)
    _unlike(scene, title)
    name = _free(title.lower(), {v.name.lower(): v for v in scene.variants})

    def change(text: str) -> str:
        raw = _raw(text)
        from ..scene.change import with_changes

        own = {} if look is None else dict(raw["variants"][look].get("set", {}))
        data = with_changes(raw, own)[0]
        for part in scene.parts:
            table = data["parts"][part.name]
            own = {p: v for p, v in own.items() if not p.startswith((f"parts.{part.name}.finish.",))}
            own[f"parts.{part.name}.finish"] = table.get("finish", [])
            own[f"parts.{part.name}.sheen"] = table.get("sheen", 20)
        return with_variant(text, name, title, why, own)

    return Change(f'pinned "{title}"', "looks", change)


def _unlike(scene: Scene, title: str, own: str | None = None) -> None:
    """Refuse a title that another look has: the client chooses by it. ``own`` is the look that is to have it."""
    if (other := next((v.title for v in scene.variants if v.name != own and v.title.lower() == title.lower()), None)) is not None:
        raise MockupError(f'There is a look called "{other}" already.', fix="Give this one another name.")


def _text(value: Any, what: str, longest: int) -> str:
    if value is None:
        return ""
    text = " ".join(str(value).split())
    if len(text) > longest or not text.isprintable():
        raise MockupError(f"The {what} is longer than {longest} letters." if len(text) > longest else f"The {what} has letters that cannot be printed.",
                          fix="Say it shorter." if len(text) > longest else "Type it again.")
    return text


def _unpin(scene: Scene, text: str, wish: Mapping[str, Any]) -> Change:
    look = _look(scene, wish)
    if look is None:
        raise MockupError("The scene itself cannot be taken away.")
    return Change(f'took "{scene.with_variant(look).variant.title}" away', "looks", lambda t: without(t, ("variants", look)))  # type: ignore[union-attr]


def _name(scene: Scene, text: str, wish: Mapping[str, Any]) -> Change:
    look = _look(scene, wish)
    if look is None:
        raise MockupError("The scene itself has its title in the file.")
    values = {}
    for key, longest in (("title", 60), ("why", 400)):
        if wish.get(key) is not None:
            value = _text(wish[key], key, longest)
            if key == "title" and not value:
                raise MockupError("A look needs a name.", fix="Type one.")
            if key == "title":
                _unlike(scene, value, look)
            values["variants", look, key] = value
    if not values:
        raise MockupError("No name was given.")
    return Change(f'named "{values.get(("variants", look, "title"), look)}"', f"{look}.name", lambda t: with_values(t, values))


def _order(scene: Scene, text: str, wish: Mapping[str, Any]) -> Change:
    names = wish.get("names")
    if not isinstance(names, list):
        raise MockupError("The order is a list of names.")
    return Change("another order of looks", "looks", lambda t: with_order(t, [str(n) for n in names]))
