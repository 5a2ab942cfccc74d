"""What may stand in SVG attributes: path data, point lists, transforms and lengths, checked and written plainly.

Each function reads a value to its end and returns it rewritten without any
shorthand, or raises MockupError with the place. A reader further down may
stop silently at what it does not know; after this it never meets any.
"""

from __future__ import annotations

import re

from mockup.errors import MockupError

__all__ = ["NUMBER", "length_px", "plain_path", "plain_points", "plain_transform", "view_box"]

NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_number = re.compile(NUMBER)
_space = re.compile(r"[\s,]*")
_flag = re.compile(r"[01]")
_length = re.compile(rf"\s*({NUMBER})\s*([A-Za-z%]*)\s*")
_function = re.compile(r"\s*,?\s*([A-Za-z]+)\s*\(([^()]*)\)")

# Numbers each command takes, and how many of them begin a new point.
_TAKES = {"m": 2, "l": 2, "h": 1, "v": 1, "c": 6, "s": 4, "q": 4, "t": 2, "a": 7, "z": 0}
_TRANSFORMS = {
    "matrix": (6,), "translate": (1, 2), "scale": (1, 2), "rotate": (1, 3), "skewX": (1,), "skewY": (1,),
}  # fmt: skip

# CSS Values and Units 4, 6.2: absolute lengths in px.
_PX = {"": 1.0, "px": 1.0, "mm": 96 / 25.4, "cm": 96 / 2.54, "in": 96.0, "pt": 96 / 72, "pc": 16.0, "q": 96 / 101.6}


def plain_path(d: str, *, most: int) -> str:
    """Path data (SVG 2, 9.3) with one space between all tokens.

    Raises MockupError when it does not read to the end, or draws more than ``most`` segments.
    """
    out: list[str] = []
    at, count, end = _space.match(d).end(), 0, len(d)
    if at == end or d.strip().lower() == "none":
        return ""
    while at < end:
        command = d[at]
        takes = _TAKES.get(command.lower())
        if takes is None or (not out and command not in "Mm"):
            raise _unread("The path", d, at, "a command such as M, L, C or Z")
        out.append(command)
        at = _space.match(d, at + 1).end()
        if takes == 0:
            continue
        first = True
        while first or (at < end and (d[at].isdigit() or d[at] in "+-.")):
            first = False
            for i in range(takes):
                token = (_flag if takes == 7 and i in (3, 4) else _number).match(d, at)
                if token is None:
                    raise _unread("The path", d, at, "a number")
                out.append(_plain(token[0]))
                at = _space.match(d, token.end()).end()
            count += 1
            if count > most:
                raise MockupError(
                    f"The outline has more than {most} points.", fix="Simplify the path in the drawing program."
                )
    return " ".join(out)


def plain_points(points: str, *, most: int) -> str:
    """The points of a polygon: pairs of numbers, one space between all."""
    out: list[str] = []
    at = _space.match(points).end()
    while at < len(points):
        token = _number.match(points, at)
        if token is None:
            raise _unread("The list of points", points, at, "a number")
        out.append(_plain(token[0]))
        if len(out) > 2 * most:
            raise MockupError(
                f"The outline has more than {most} points.", fix="Simplify the path in the drawing program."
            )
        at = _space.match(points, token.end()).end()
    if len(out) % 2:
        raise MockupError("The list of points ends with half a point.", fix="Save the drawing again as plain SVG.")
    return " ".join(out)


def plain_transform(text: str) -> str:
    """A transform list (SVG 2, 8.5) with plain numbers; angles in degrees, lengths in px."""
    text = text.strip()
    if text in ("", "none"):
        return ""
    out, at = [], 0
    while at < len(text):
        match = _function.match(text, at)
        if match is None:
            raise _unread("A transform", text, at, "matrix, translate, scale, rotate or skew")
        name, inner = match[1], re.sub(r"(?<=[\d.])(px|deg)\b", "", match[2])
        numbers = _number.findall(inner)
        if _number.sub("", inner).strip(" \t\r\n,") or len(numbers) not in _TRANSFORMS.get(name, ()):
            raise MockupError(
                f'The transform "{match[0].strip()[:60]}" cannot be read.',
                fix="Apply the transform to the path in the drawing program.",
            )
        out.append(f"{name}({','.join(_plain(n) for n in numbers)})")
        at = match.end()
        while at < len(text) and text[at] in " \t\r\n,":
            at += 1
    return " ".join(out)


def length_px(text: str, what: str) -> float:
    """An absolute length in px, 96 to the inch."""
    match = _length.fullmatch(text)
    factor = _PX.get(match[2].lower()) if match else None
    if factor is None:
        raise MockupError(f'The {what} is "{text[:40]}".', fix='Give it as a number with a unit, such as "400mm".')
    return float(match[1]) * factor


def view_box(text: str) -> tuple[float, float, float, float] | None:
    """The four numbers of a viewBox with a size above zero; None when it is not that."""
    parts = [p for p in re.split(r"[\s,]+", text.strip()) if p]
    if len(parts) != 4 or not all(_number.fullmatch(p) for p in parts):
        return None
    x, y, w, h = map(float, parts)
    return (x, y, w, h) if 0 < w < float("inf") and 0 < h < float("inf") else None


def _plain(number: str) -> str:
    # "1." is a number to most programs and not to all readers.
    head, e, power = number.partition("e") if "e" in number else number.partition("E")
    return f"{head}0{e}{power}" if head.endswith(".") else number


def _unread(what: str, text: str, at: int, wanted: str) -> MockupError:
    if at >= len(text):
        return MockupError(f"{what} breaks off where {wanted} should follow.", fix="Save it again as plain SVG.")
    found = re.split(r"[\s,]", text[at : at + 16], maxsplit=1)[0] or text[at]
    return MockupError(
        f'{what} has "{found}" where {wanted} should be (character {at + 1}).', fix="Save it again as plain SVG."
    )
