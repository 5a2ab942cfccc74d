"""The bundled typeface: its glyphs, their widths and kerning, and lines of words."""

from __future__ import annotations

import functools
import re
import unicodedata
from dataclasses import dataclass
from pathlib import Path

__all__ = ["ITALIC", "PT", "REGULAR", "SEMIBOLD", "Face", "Run", "clean", "face", "run", "text_width", "wrap"]

FOLDER = Path(__file__).resolve().parent / "fonts"
REGULAR, SEMIBOLD, ITALIC = "regular", "semibold", "italic"
PT = 25.4 / 72  # mm
ELLIPSIS = "…"


@dataclass(frozen=True, eq=False)
class Face:
    """One weight of the typeface. Lengths are in font units, ``units`` to the em."""

    name: str
    path: Path
    units: int
    ascent: int
    descent: int
    cap_height: int
    box: tuple[int, int, int, int]
    slant: float
    glyphs: dict[int, int]       # code point to glyph number
    advances: tuple[int, ...]    # by glyph number
    _pairs: tuple                # lookups of the font's kerning, in order
    _names: tuple[str, ...]

    @functools.cache  # noqa: B019  one object per weight, kept for good
    def kern(self, left: int, right: int) -> int:
        """What is added between two glyphs (OpenType GPOS, pair adjustment)."""
        first, second = self._names[left], self._names[right]
        total = 0
        for lookup in self._pairs:
            for table in lookup.SubTable:
                value = _pair(table, first, second)
                if value is not None:  # the first subtable that knows the pair decides
                    total += value
                    break
        return total


def _pair(table, first: str, second: str) -> int | None:
    if first not in table.Coverage.glyphs:
        return None
    if table.Format == 1:
        for record in table.PairSet[table.Coverage.glyphs.index(first)].PairValueRecord:
            if record.SecondGlyph == second:
                return _advance(record.Value1)
        return None
    row = table.Class1Record[table.ClassDef1.classDefs.get(first, 0)]
    return _advance(row.Class2Record[table.ClassDef2.classDefs.get(second, 0)].Value1)


def _advance(value) -> int:
    return getattr(value, "XAdvance", 0) or 0


@functools.cache
def face(weight: str) -> Face:
    """The typeface in one of the weights REGULAR, SEMIBOLD and ITALIC."""
    from fontTools.ttLib import TTFont  # not for --help

    path = FOLDER / f"mockup-sans-{weight}.ttf"
    font = TTFont(path, lazy=True)
    names = font.getGlyphOrder()
    number = {name: i for i, name in enumerate(names)}
    metrics, head, hhea = font["hmtx"].metrics, font["head"], font["hhea"]
    gpos = font["GPOS"].table
    kerning = sorted({i for f in gpos.FeatureList.FeatureRecord if f.FeatureTag == "kern" for i in f.Feature.LookupListIndex})
    return Face(name=font["name"].getDebugName(6), path=path, units=head.unitsPerEm, ascent=hhea.ascent, descent=-hhea.descent,
                cap_height=font["OS/2"].sCapHeight, box=(head.xMin, head.yMin, head.xMax, head.yMax),
                slant=font["post"].italicAngle, glyphs={c: number[n] for c, n in font.getBestCmap().items()},
                advances=tuple(metrics[n][0] for n in names), _pairs=tuple(gpos.LookupList.Lookup[i] for i in kerning),
                _names=tuple(names))


@dataclass(frozen=True, slots=True)
class Run:
    """A line of text set: its characters, their glyphs, where each begins, and the width, in em."""

    text: str
    glyphs: tuple[int, ...]
    starts: tuple[float, ...]
    width: float


@functools.lru_cache(maxsize=4096)
def run(text: str, weight: str) -> Run:
    """Set one line with kerning. A character the typeface lacks becomes its empty box."""
    f = face(weight)
    glyphs = tuple(f.glyphs.get(ord(c), 0) for c in text)
    starts, x = [], 0
    for i, glyph in enumerate(glyphs):
        if i:
            x += f.kern(glyphs[i - 1], glyph)
        starts.append(x / f.units)
        x += f.advances[glyph]
    return Run(text, glyphs, tuple(starts), x / f.units)


def text_width(text: str, weight: str, size: float) -> float:
    """Width in mm of a line of ``size`` points."""
    return run(text, weight).width * size * PT


def clean(text: str) -> str:
    """Composed characters, one space for a run of blanks, nothing that cannot be printed."""
    text = unicodedata.normalize("NFC", text)
    text = "".join(" " if c.isspace() and c != "\u00a0" else c for c in text)
    text = "".join(c for c in text if c.isprintable() or c == "\u00a0")
    return re.sub(" +", " ", text).strip(" ")


def wrap(text: str, weight: str, size: float, width: float, *, most: int | None = None) -> list[str]:
    """Lines of at most ``width`` mm, broken at spaces, and inside a word only where it alone is too long.

    most  of these lines; what is cut off is marked by an ellipsis.
    """
    lines: list[str] = []
    line = ""
    for word in clean(text).split(" "):
        longer = f"{line} {word}" if line else word
        if text_width(longer, weight, size) <= width:
            line = longer
            continue
        if line:
            lines.append(line)
        *broken, line = _broken(word, weight, size, width)
        lines += broken
    if line:
        lines.append(line)
    if most is not None and len(lines) > most:
        last = lines[most - 1]
        while last and text_width(last.rstrip(" ,;.") + ELLIPSIS, weight, size) > width:
            last = last[:-1]
        lines = [*lines[:most - 1], last.rstrip(" ,;.") + ELLIPSIS]
    return lines


def _broken(word: str, weight: str, size: float, width: float) -> list[str]:
    pieces, start = [], 0
    for end in range(1, len(word) + 1):
        if end - start > 1 and text_width(word[start:end], weight, size) > width:
            pieces.append(word[start:end - 1])
            start = end - 1
    return [*pieces, word[start:]]
