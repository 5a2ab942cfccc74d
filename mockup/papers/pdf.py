"""A page to a PDF file: real text in the bundled typeface, vectors, and pictures as they were encoded.

References are to ISO 32000-1.
"""

from __future__ import annotations

import io
from collections.abc import Sequence

from ..files.picture import encode_picture
from ..files.profile import srgb_profile
from .face import PT, face, run
from .page import Box, Image, Line, Page, Path, Text

__all__ = ["pdf_book", "pdf_bytes"]

QUALITY = 95  # JPEG, all colour kept


def pdf_bytes(page: Page) -> bytes:
    """The bytes of a one-page PDF of exactly the page's size; the same page gives the same bytes."""
    return pdf_book([page], title=page.title)


def pdf_book(pages: Sequence[Page], *, title: str, quality: int = QUALITY) -> bytes:
    """The bytes of a PDF of pages, each of exactly its own size; the same pages give the same bytes.

    quality  of pictures, as JPEG.
    """
    import pikepdf  # 0.1 s: not for --help
    from pikepdf import Array, Dictionary, Name

    pdf = pikepdf.new()
    used: dict[str, set[tuple[int, str]]] = {}
    drawn = [_page_marks(pdf, page, used, quality) for page in pages]
    # One set of fonts for the whole book: each is embedded once.
    fonts = Dictionary({f"/F{weight}": _font(pdf, weight, used[weight]) for weight in sorted(used)})
    profile = pdf.make_stream(srgb_profile(), N=3, Alternate=Name.DeviceRGB)
    for page, (marks, pictures) in zip(pages, drawn, strict=True):
        # 8.6.5.6: every DeviceRGB colour on the page, pictures too, means sRGB.
        resources = Dictionary(Font=fonts, XObject=pictures, ColorSpace=Dictionary(DefaultRGB=Array([Name.ICCBased, profile])))
        body = pdf.make_indirect(Dictionary(
            Type=Name.Page, MediaBox=[0, 0, _pt(page.width), _pt(page.height)], Resources=resources,
            Contents=pdf.make_stream("\n".join(marks).encode("ascii"))))
        pdf.pages.append(pikepdf.Page(body))
    pdf.Root.Lang = "en"
    pdf.Root.ViewerPreferences = Dictionary(DisplayDocTitle=True, PrintScaling=Name("/None"))
    pdf.docinfo["/Title"] = title
    out = io.BytesIO()
    pdf.save(out, deterministic_id=True, compress_streams=True, object_stream_mode=pikepdf.ObjectStreamMode.generate)
    return out.getvalue()


def _page_marks(pdf, page: Page, used: dict[str, set[tuple[int, str]]], quality: int):
    """The content of one page, line by line, and its pictures; the glyphs it needs are added to ``used``."""
    from pikepdf import Dictionary

    pictures, marks = Dictionary(), []
    for item in page.items:
        match item:
            case Image(pixels=pixels):
                name = f"/P{len(pictures)}"
                pictures[name] = _picture(pdf, pixels, page.px_per_mm, quality)
                x0, y0, x1, y1 = item.bounds
                marks.append(f"q {_n(x1 - x0)} 0 0 {_n(y1 - y0)} {_n(x0)} {_n(page.height - y1)} cm {name} Do Q")
            case Box():
                x0, y0, x1, y1 = item.bounds
                marks.append(f"{_rgb(item.fill)} rg {_n(x0)} {_n(page.height - y1)} {_n(x1 - x0)} {_n(y1 - y0)} re f")
            case Line():
                marks.append(f"{_rgb(item.colour)} RG {_n(item.width)} w {_n(item.x0)} {_n(page.height - item.y0)} m "
                             f"{_n(item.x1)} {_n(page.height - item.y1)} l S")
            case Path():
                marks.append(_path(item, page.height))
            case Text() if item.text:
                line = run(item.text, item.weight)
                used.setdefault(item.weight, set()).update(zip(line.glyphs, line.text, strict=True))
                marks.append(f"BT {_rgb(item.colour)} rg /F{item.weight} {item.size:.6g} Tf "
                             f"{_n(item.left)} {_n(page.height - item.y)} Td [{_shown(item)}] TJ ET")
    return marks, pictures


def _path(item: Path, height: float) -> str:
    """A path with round joins (8.5.2, 8.5.3); q and Q keep its dashes from what follows."""
    runs = []
    for line in item.lines:
        points = [f"{_n(x)} {_n(height - y)}" for x, y in line.tolist()]
        runs.append(f"{points[0]} m " + " ".join(f"{p} l" for p in points[1:]) + (" h" if item.closed else ""))
    state, paint = ["1 j"], {(False, True): "S", (True, False): "f*", (True, True): "B*"}
    if item.fill is not None:
        state.append(f"{_rgb(item.fill)} rg")
    if item.colour is not None:
        state.append(f"{_rgb(item.colour)} RG {_n(item.width)} w")
    if item.dash:
        state.append(f"[{' '.join(_n(mm) for mm in item.dash)}] 0 d")
    return f"q {' '.join(state)} {' '.join(runs)} {paint[item.fill is not None, item.colour is not None]} Q"


def _pt(mm: float) -> float:
    return round(mm / PT, 4)


def _n(mm: float) -> str:
    """Millimetres as points, for a content stream."""
    return f"{mm / PT:.4f}".rstrip("0").rstrip(".")


def _rgb(colour: tuple[int, int, int]) -> str:
    return " ".join(f"{c / 255:.5f}".rstrip("0").rstrip(".") for c in colour)


def _picture(pdf, pixels, px_per_mm: float, quality: int):
    from pikepdf import Dictionary, Name, Stream

    data = encode_picture(pixels, ".jpg", px_per_mm=px_per_mm, quality=quality)
    height, width = pixels.shape[:2]
    return Stream(pdf, data, Dictionary(Type=Name.XObject, Subtype=Name.Image, Width=width, Height=height,
                                        ColorSpace=Name.DeviceRGB, BitsPerComponent=8, Filter=Name.DCTDecode))


def _shown(item: Text) -> str:
    """The operand of TJ (9.4.3): glyph numbers, and between them what kerning moves, in thousandths of an em back."""
    f, line = face(item.weight), run(item.text, item.weight)
    parts, open_ = [], False
    for i, glyph in enumerate(line.glyphs):
        if i:
            natural = line.starts[i - 1] + f.advances[line.glyphs[i - 1]] / f.units
            back = round((natural - line.starts[i]) * 1000, 2)
            if abs(back) >= 0.01:
                parts.append(f"> {back:g} ")
                open_ = False
        if not open_:
            parts.append("<")
            open_ = True
        parts.append(f"{glyph:04X}")
    return "".join(parts) + ">"


def _font(pdf, weight: str, used: set[tuple[int, str]]):
    """A composite font by glyph numbers (9.7), with the way back to characters (9.10.3)."""
    from pikepdf import Array, Dictionary, Name

    f = face(weight)

    def scaled(value: float) -> float:
        return round(value * 1000 / f.units, 2)

    data = f.path.read_bytes()
    name = Name(f"/{f.name}")
    descriptor = pdf.make_indirect(Dictionary(
        Type=Name.FontDescriptor, FontName=name, Flags=32 if not f.slant else 96, FontBBox=[scaled(v) for v in f.box],
        ItalicAngle=f.slant, Ascent=scaled(f.ascent), Descent=-scaled(f.descent), CapHeight=scaled(f.cap_height),
        StemV=80, FontFile2=pdf.make_stream(data, Length1=len(data))))
    widths = Array()
    for glyph in sorted({g for g, _ in used}):
        widths.extend([glyph, Array([scaled(f.advances[glyph])])])
    below = pdf.make_indirect(Dictionary(
        Type=Name.Font, Subtype=Name.CIDFontType2, BaseFont=name, FontDescriptor=descriptor, W=widths, CIDToGIDMap=Name.Identity,
        CIDSystemInfo=Dictionary(Registry=b"Adobe", Ordering=b"Identity", Supplement=0)))
    return pdf.make_indirect(Dictionary(Type=Name.Font, Subtype=Name.Type0, BaseFont=name, Encoding=Name("/Identity-H"),
                                        DescendantFonts=[below], ToUnicode=pdf.make_stream(_to_unicode(used))))


def _to_unicode(used: set[tuple[int, str]]) -> bytes:
    # One glyph may stand for several characters (a hyphen and its non-breaking
    # twin); the lowest code point is the plain one.
    back = {glyph: char for glyph, char in sorted(used, key=lambda pair: (pair[0], -ord(pair[1])))}
    rows = [f"<{glyph:04X}> <{char.encode('utf-16-be').hex().upper()}>" for glyph, char in sorted(back.items()) if glyph]
    blocks = [rows[i:i + 100] for i in range(0, len(rows), 100)]
    chars = "\n".join(f"{len(b)} beginbfchar\n" + "\n".join(b) + "\nendbfchar" for b in blocks)
    return ("/CIDInit /ProcSet findresource begin\n12 dict begin\nbegincmap\n"
            "/CIDSystemInfo << /Registry (Adobe) /Ordering (UCS) /Supplement 0 >> def\n"
            "/CMapName /Adobe-Identity-UCS def\n/CMapType 2 def\n"
            "1 begincodespacerange\n<0000> <FFFF>\nendcodespacerange\n"
            f"{chars}\nendcmap\nCMapName currentdict /CMap defineresource pop\nend\nend\n").encode("ascii")
