"""A drawing file as a checked tree, and one outline of it as a document of its own.

Only the wanted shape, its groups and what it reuses are passed on, so that
nothing else in the file, however large or odd, can matter. Nothing outside the
file is ever opened.
"""

from __future__ import annotations

import re
from xml.etree import ElementTree
from xml.parsers import expat

from mockup.errors import MockupError, nearest
from mockup.outline import pathdata

__all__ = ["Drawing"]

SVG = "{http://www.w3.org/2000/svg}"
_HREFS = ("href", "{http://www.w3.org/1999/xlink}href")
_SHAPES = ("path", "circle", "ellipse", "rect", "polygon", "polyline")
_LENGTHS = ("x", "y", "width", "height", "rx", "ry", "r", "cx", "cy")
_GROUPS = ("g", "a", "defs", "switch", "clipPath", "mask", "symbol")
_UNSEEN = ("defs", "clipPath", "mask", "symbol", "pattern", "marker")
_CUTS = {"clip-path": "a clip path", "mask": "a mask"}
_GEOMETRY = {"path": ("d",), "rect": ("x", "y", "width", "height", "rx", "ry"), "circle": ("r", "cx", "cy"), "ellipse": ("rx", "ry", "cx", "cy")}
_MOST_ELEMENTS = 200_000
_DEEPEST = 200
_MOST_STYLE = 20_000
_declared = re.compile(r"(?:^|[;{])\s*([a-zA-Z-]+)\s*:\s*([^;}]*)")
_PLAIN_SVG = "Save it again as plain SVG."
_SIZE = 'Give the drawing its size: width="400mm" height="500mm" viewBox="0 0 400 500".'


class Drawing:
    """An SVG file that is safe to look into.

    Raises MockupError when the bytes are not SVG, declare entities, or hold
    more elements than a drawing needs.
    """

    def __init__(self, data: bytes) -> None:
        _check_xml(data)
        try:
            self.root = ElementTree.fromstring(data)
        except (ElementTree.ParseError, ValueError, LookupError) as error:
            raise _not_xml(error) from None
        if _name(self.root) != "svg":
            raise MockupError(
                f"This is not an SVG drawing: its first element is <{_name(self.root)[:40]}>.",
                fix="Export the outline as plain SVG.",
            )
        self._parent = {child: parent for parent in self.root.iter() for child in parent}
        self._named: dict[str, list[ElementTree.Element]] = {}
        for element in self.root.iter():
            if (id := element.get("id")) is not None:
                self._named.setdefault(id, []).append(element)

    def ids(self) -> tuple[str, ...]:
        """Ids that name an outline: shapes, reused shapes and groups of one shape, in the order drawn."""
        return tuple(
            id
            for id, elements in self._named.items()
            if _name(elements[0]) in (*_SHAPES, "use") or (_name(elements[0]) == "g" and len(_drawn(elements[0])) == 1)
        )

    def seen_ids(self, group: str = "") -> tuple[str, ...]:
        """Ids of the outlines that are drawn, in a group or in the whole drawing, each outline by one id only.

        What lies in ``defs``, clip paths, masks and symbols is not drawn where it stands. A group of one shape
        goes by the id of its shape, where that has one. Raises MockupError when the group is missing.
        """
        if group and group not in self._named:
            groups = [id for id, elements in self._named.items() if _name(elements[0]) == "g"]
            raise MockupError(f'There is no group or outline with the id "{group[:60]}".', fix=nearest(group, [*groups, *self.ids()]))
        top = self._find(group) if group else self.root
        inside = set(top.iter())
        hidden = {element for holder in self.root.iter() if _name(holder) in _UNSEEN for element in holder.iter()}
        found = []
        for id in self.ids():
            element = self._named[id][0]
            shape = _drawn(element)[0] if _name(element) == "g" else element
            if element in inside and element not in hidden and not (shape is not element and shape.get("id")):
                found.append(id)
        return tuple(found)

    def left_out(self, id: str) -> tuple[str, ...]:
        """What of this outline a maker may not expect: cuts that are not followed, a size without a unit; in words."""
        chain, element = [], self._find(id)
        while element is not None:
            chain.append(element)
            element = self._parent.get(element)
        cut = {what for e in chain for what, words in _CUTS.items() if what in e.attrib or what in e.get("style", "")[:_MOST_STYLE]}
        size = (self.root.get("width") or "").strip()
        bare = (f'the drawing\'s width is "{size[:20]}", taken as px, 96 to the inch',) if re.fullmatch(rf"{pathdata.NUMBER}(px)?", size) else ()
        return (*(f"{_CUTS[what]} over it is left out: the outline is the whole shape" for what in _CUTS if what in cut), *bare)

    def fill(self, id: str) -> str | None:
        """What is written of the fill of an element, or of the nearest group around it that has one."""
        element: ElementTree.Element | None = self._find(id)
        while element is not None:
            style = dict((n.lower(), v.strip()) for n, v in _declared.findall(element.get("style", "")[:_MOST_STYLE]))
            if (found := style.get("fill", element.get("fill"))) is not None:
                return found[:60]
            element = self._parent.get(element)
        return None

    def document(self, id: str) -> bytes:
        """An SVG document that holds the shape of this id alone, where the drawing has it, lengths in px.

        Raises MockupError when the id is missing, given twice, or names
        something that has no outline; when the size of the drawing is
        missing; or when the shape reaches outside the file.
        """
        element = self._find(id)
        holder = ElementTree.Element(f"{SVG}svg", self._frame())
        if style := self._fill_rules():
            ElementTree.SubElement(holder, f"{SVG}style").text = style
        place = holder
        for group in self._groups(element):
            place = ElementTree.SubElement(place, f"{SVG}g", _look(group))
        self._place(element, place, [])
        return ElementTree.tostring(holder)

    def missing(self, id: str) -> str | None:
        """Of an id that no element has: the words that name the shape so labelled, "" where there is none; None where an element has it."""
        if id in self._named:
            return None
        labelled = [e.get("id") for e in self.root.iter() if id in (v for k, v in e.items() if k.endswith("}label"))]
        return f'The shape labelled "{id[:60]}" has the id "{labelled[0]}".' if labelled and labelled[0] else ""

    def _find(self, id: str) -> ElementTree.Element:
        found = self._named.get(id, [])
        if not found:
            fix = self.missing(id) or nearest(id, self.ids()) or "Give the outline an id in the drawing program."
            raise MockupError(f'No outline has the id "{id[:60]}".', fix=fix)
        if len(found) > 1:
            raise MockupError(f'{len(found)} elements have the id "{id[:60]}".', fix="Keep it on the outline only.")
        return found[0]

    def _frame(self) -> dict[str, str]:
        """Size and viewBox of the drawing, in px."""
        frame = {"width": "1", "height": "1"}
        for side in ("width", "height"):
            text = (self.root.get(side) or "").strip()
            if not text or text == "auto" or text.endswith("%"):
                found = f'is "{text}"' if text else "is missing"
                raise MockupError(f"The {side} of the drawing {found}, so its scale is not known.", fix=_SIZE)
            size = pathdata.length_px(text, f"{side} of the drawing")
            if not 0 < size < float("inf"):
                raise MockupError(f'The {side} of the drawing is "{text[:40]}".', fix=_SIZE)
            frame[side] = repr(size)
        if (box := self.root.get("viewBox")) is not None:
            numbers = pathdata.view_box(box)
            if numbers is None:
                raise MockupError(f'The viewBox is "{box[:60]}".', fix="Give it as left, top, width and height.")
            # A drawing's own coordinates stay: a centre line drawn at x = 0 is at x = 0, wherever
            # the page begins. So only the scale of viewBox and preserveAspectRatio is passed on.
            frame["viewBox"] = f"0 0 {numbers[2]!r} {numbers[3]!r}"
            frame["preserveAspectRatio"] = "xMinYMin meet"
        if (aspect := self.root.get("preserveAspectRatio")) is not None:
            words = aspect.split()
            if not words or not re.fullmatch(r"none|x(Min|Mid|Max)Y(Min|Mid|Max)", words[0]) or len(words) > 2 or (
                len(words) == 2 and words[1] not in ("meet", "slice")
            ):
                raise MockupError(f'preserveAspectRatio is "{aspect[:40]}".', fix='Use "xMidYMid meet".')
            frame["preserveAspectRatio"] = "none" if words[0] == "none" else " ".join(["xMinYMin", *words[1:]])
        return frame | _look(self.root)

    def _groups(self, element: ElementTree.Element) -> list[ElementTree.Element]:
        """The groups around an element, outermost first, the drawing itself left out."""
        chain: list[ElementTree.Element] = []
        while (element := self._parent.get(element)) is not None and element is not self.root:
            if _name(element) not in _GROUPS:
                raise MockupError(
                    f"The outline lies inside a <{_name(element)[:40]}>.", fix="Move it to the drawing itself."
                )
            chain.append(element)
        return chain[::-1]

    def _place(self, element: ElementTree.Element, place: ElementTree.Element, seen: list) -> None:
        """Add the one shape that an element stands for to ``place``."""
        kind = _name(element)
        if kind == "g":
            shapes = _drawn(element)
            if len(shapes) != 1:
                raise MockupError(
                    f"This id names a group of {len(shapes)} shapes.", fix="Give the id of one shape, or join them."
                )
            inner = self._groups(shapes[0])
            inner = inner[inner.index(element) :]
            for group in inner:
                place = ElementTree.SubElement(place, f"{SVG}g", _look(group))
            self._place(shapes[0], place, seen)
        elif kind == "use":
            target = self._reused(element, seen)
            look = _look(element)
            x, y = (pathdata.length_px(element.get(a, "0"), f"{a} of a reused shape") for a in "xy")
            look["transform"] = f"{look.get('transform', '')} translate({x!r},{y!r})".strip()
            self._place(target, ElementTree.SubElement(place, f"{SVG}g", look), [*seen, element])
        elif kind in _SHAPES:
            self._refuse_styled(element, kind)
            ElementTree.SubElement(place, f"{SVG}{kind}", _geometry(element, kind) | _look(element))
        else:
            what = {"image": "a picture", "text": "text", "line": "a single line"}.get(kind, f"a <{kind[:40]}>")
            raise MockupError(f"This id names {what}, which has no outline.", fix="Convert it to a path.")

    def _reused(self, element: ElementTree.Element, seen: list) -> ElementTree.Element:
        href = next((element.get(name) for name in _HREFS if element.get(name)), "").strip()
        if not href.startswith("#"):
            raise MockupError(
                f'The outline refers to "{href[:60]}", outside the drawing.' if href else "The outline refers to nothing.",
                fix="Put the shape itself into the drawing.",
            )
        if element in seen or len(seen) > 20:
            raise MockupError("The outline refers to itself.", fix="Put the shape itself into the drawing.")
        return self._find(href[1:])

    def _refuse_styled(self, element: ElementTree.Element, kind: str) -> None:
        """Refuse a shape whose size or path stands in a style (SVG 2, 7.1), which would be read at another size."""
        named = {"*", kind, f"#{element.get('id')}", *(f".{c}" for c in (element.get("class") or "").split())}
        styles = [element.get("style", "")[:_MOST_STYLE]]
        for selectors, body in self._rules():
            last = [s.split()[-1] for s in selectors.split(",") if s.split()]
            if any(set(re.findall(r"[.#]?[\w*-]+", s)) <= named for s in last):
                styles.append(body)
        for style in styles:
            for name, _ in _declared.findall(style):
                if name.lower() in _GEOMETRY.get(kind, ()):
                    raise MockupError(f'The {kind} has its "{name.lower()}" in a style.', fix="Convert it to a path in the drawing program.")

    def _rules(self) -> list[tuple[str, str]]:
        """The selectors and the body of each rule in the style sheets."""
        found = []
        for element in self.root.iter(f"{SVG}style"):
            for rule in _uncommented("".join(element.itertext())).split("}"):
                selector, brace, body = rule.rpartition("{")
                if brace and "{" not in selector:
                    found.append((selector.strip(), body))
        return found

    def _fill_rules(self) -> str:
        """The rules of the style sheets that set a fill rule; nothing else there shapes an outline."""
        rules: list[str] = []
        for selector, body in self._rules():
            declared = {name.lower(): value.strip() for name, value in _declared.findall(body)}
            if "transform" in declared:
                raise MockupError("A style sheet moves shapes about.", fix="Apply the transforms in the drawing program.")
            if "fill-rule" in declared:
                rules.append(f"{selector}{{fill-rule:{declared['fill-rule']}}}")
        text = "\n".join(rules)
        if len(text) > _MOST_STYLE:
            raise MockupError("The style sheet of the drawing is too long to read.", fix=_PLAIN_SVG)
        return text


def _name(element: ElementTree.Element) -> str:
    """The local name of an SVG element; a name with its namespace for a foreign one."""
    tag = element.tag if isinstance(element.tag, str) else "comment"
    return tag[len(SVG) :] if tag.startswith(SVG) else tag


def _drawn(group: ElementTree.Element) -> list[ElementTree.Element]:
    return [e for e in group.iter() if _name(e) in (*_SHAPES, "use")]


def _look(element: ElementTree.Element) -> dict[str, str]:
    """What of an element's attributes and style decides where it lies and how it is filled."""
    look = {name: value for name in ("class", "fill-rule") if (value := element.get(name))}
    style = dict((n.lower(), v.strip()) for n, v in _declared.findall(element.get("style", "")[:100_000]))
    if "transform-origin" in style or element.get("transform-origin"):
        raise MockupError("The outline has a transform-origin.", fix="Apply the transform in the drawing program.")
    transform = style.get("transform", element.get("transform", ""))
    if transform := pathdata.plain_transform(transform):
        look["transform"] = transform
    if "fill-rule" in style:
        look["style"] = f"fill-rule:{style['fill-rule']}"
    if (id := element.get("id")) and re.fullmatch(r"[\w.-]+", id):
        look["id"] = id  # style sheets may select by id
    return look


def _geometry(element: ElementTree.Element, kind: str) -> dict[str, str]:
    from mockup.outline.svgcurves import MOST_POINTS

    if kind == "path":
        return {"d": pathdata.plain_path(element.get("d", ""), most=MOST_POINTS)}
    if kind in ("polygon", "polyline"):
        return {"points": pathdata.plain_points(element.get("points", ""), most=MOST_POINTS)}
    lengths = {}
    for name in _LENGTHS:
        text = element.get(name)
        if text is None or text.strip() in ("", "auto"):
            continue
        value = pathdata.length_px(text, f"{name} of the {kind}")
        if value < 0 and name in ("width", "height", "r", "rx", "ry"):
            raise MockupError(f'The {name} of the {kind} is "{text[:40]}".', fix="Give it a length above 0.")
        lengths[name] = repr(value)
    for needed in {"rect": ("width", "height"), "circle": ("r",)}.get(kind, ()):
        if needed not in lengths:  # a renderer draws nothing then (SVG 2, 7.1)
            raise MockupError(f"The {kind} has no {needed}.", fix="Convert it to a path in the drawing program.")
    return lengths


def _uncommented(text: str) -> str:
    """A style sheet without its comments."""
    out, at = [], 0
    while (start := text.find("/*", at)) >= 0:
        out.append(text[at:start])
        end = text.find("*/", start + 2)
        at = len(text) if end < 0 else end + 2
    out.append(text[at:])
    return "".join(out)


def _check_xml(data: bytes) -> None:
    """Refuse, before a tree is built, what only a hostile or a broken file holds."""
    if data[:2] == b"\x1f\x8b":
        raise MockupError("This is a compressed drawing (SVGZ).", fix="Save it as plain SVG.")
    if not data.strip():
        raise MockupError("The drawing is empty.", fix="Export the outline as plain SVG.")
    parser = expat.ParserCreate()
    elements = depth = 0

    def doctype(name, system, public, has_internal_subset):
        # The public DOCTYPE of SVG 1.1 is harmless: nothing it names is fetched.
        if has_internal_subset:
            raise MockupError("The drawing declares entities of its own.", fix=_PLAIN_SVG)

    def entity(*_):
        raise MockupError("The drawing declares entities of its own.", fix=_PLAIN_SVG)

    def instruction(target, text):
        if target == "xml-stylesheet":
            raise MockupError("The drawing uses a style sheet outside the file.", fix=_PLAIN_SVG)

    def start(name, attributes):
        nonlocal elements, depth
        elements += 1
        depth += 1
        if elements > _MOST_ELEMENTS:
            raise MockupError(f"The drawing has more than {_MOST_ELEMENTS} elements.", fix="Keep only the outlines in it.")
        if depth > _DEEPEST:
            raise MockupError(f"The drawing nests groups more than {_DEEPEST} deep.", fix=_PLAIN_SVG)

    def end(name):
        nonlocal depth
        depth -= 1

    parser.StartDoctypeDeclHandler = doctype
    parser.EntityDeclHandler = entity
    parser.ProcessingInstructionHandler = instruction
    parser.StartElementHandler = start
    parser.EndElementHandler = end
    try:
        parser.Parse(data, True)
    except MockupError:
        raise
    except (expat.ExpatError, ValueError, LookupError) as error:
        raise _not_xml(error) from None


def _not_xml(error: Exception) -> MockupError:
    line = getattr(error, "lineno", None) or (getattr(error, "position", None) or (None,))[0]
    place = f" in line {line}" if line else ""
    return MockupError(f"This is not a readable SVG file: its XML breaks{place}.", fix="Export the outline as plain SVG.")
