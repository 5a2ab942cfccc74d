"""What a picture file says about itself, before any pixel is decoded.

Size, depth, profile and turn come from here, and everything that can be
refused early is refused here: a file that asks for a terabyte of pixels is
never decoded.
"""

from __future__ import annotations

import io
import struct
import zlib
from dataclasses import dataclass
from importlib import import_module

from mockup.errors import MockupError
from mockup.files.heic import heic_facts, is_heic
from mockup.files.quiet import quiet_pillow

__all__ = ["Header", "open_lazily", "read_header"]

_EXPORT = "Export it as JPEG, PNG or TIFF and use that."
_DAMAGED = "Copy or export it again from the original."
_PROFILE_LIMIT = 16 << 20
_PLUGINS = {"JPEG": ("JpegImagePlugin", "jpeg_factory"), "PNG": ("PngImagePlugin", "PngImageFile"),
            "WebP": ("WebPImagePlugin", "WebPImageFile"), "TIFF": ("TiffImagePlugin", "TiffImageFile"),
            "BMP": ("BmpImagePlugin", "BmpImageFile")}
_RAW = ("a raw camera file", "Name it .dng, or develop it and export it as JPEG, PNG or TIFF.")
# Other kinds of file, by their first bytes: (where, bytes, (what it is, what to do)).
_OTHERS = (
    (0, b"%PDF", ("a PDF, not a picture", "Export its picture as JPEG, PNG or TIFF and use that.")),
    (0, b"GIF8", ("a GIF, which keeps 256 colours at most", "Export the original photo as JPEG, PNG or TIFF.")),
    (0, b"8BPS", ("a layered picture file", _EXPORT)),
    (4, b"ftyp", ("an AVIF or film file", "Export it as JPEG, PNG or TIFF.")),
    (0, b"\0\0\0\x0cjP  ", ("a JPEG 2000 file", _EXPORT)),
    (0, b"\0\0\0\x0cJXL ", ("a JPEG XL file", _EXPORT)),
    (0, b"\xff\x0a", ("a JPEG XL file", _EXPORT)),
    (0, b"PK\3\4", ("an archive, not a picture", "Unpack it and use the picture inside.")),
)


@dataclass(frozen=True, slots=True)
class Header:
    """A picture file's own words.

    kind         "JPEG", "PNG", "WebP", "HEIC", "TIFF" or "BMP".
    width, height  as stored, before the turn.
    mode         Pillow's name of the layout: "L", "RGB", "RGBA", "P", "CMYK", ...
    bits         per channel.
    turn         EXIF orientation 1..8 that is still to be applied to decoded pixels.
    turned       EXIF orientation the file asks for; the decoders of TIFF follow it themselves.
    icc          embedded profile, or None.
    says         "sRGB", "Adobe RGB" or "Display P3" when a mark other than a profile says so, else "".
    inverted     whether 0 is white (TIFF).
    multiplied   whether colour is already multiplied by alpha (TIFF).
    keyed        whether one colour stands for transparent (PNG).
    notes        what was found and not followed.
    """

    kind: str
    width: int
    height: int
    mode: str
    bits: int = 8
    turn: int = 1
    turned: int = 1
    icc: bytes | None = None
    says: str = ""
    inverted: bool = False
    multiplied: bool = False
    keyed: bool = False
    notes: tuple[str, ...] = ()

    @property
    def size(self) -> tuple[int, int]:
        """(width, height) after the turn."""
        return (self.height, self.width) if self.turn >= 5 else (self.width, self.height)


def open_lazily(data: bytes, kind: str):
    """The file as a Pillow image of which only the header is read.

    Opened by its own reader, since ``Image.open`` warns of large pictures on
    its own terms; ours are in ``read_header``.
    """
    module, name = _PLUGINS[kind]
    return getattr(import_module(f"PIL.{module}"), name)(io.BytesIO(data), "")


def read_header(data: bytes, name: str, *, max_pixels: int) -> Header:
    """Read the header of a picture file; ``name`` is used for words and the suffix only.

    Raises MockupError for everything that is not one still JPEG, PNG, WebP,
    HEIC, TIFF or BMP picture of at most ``max_pixels``.
    """
    kind = _kind(data, name)
    try:
        with quiet_pillow():
            header = _READERS[kind](data)
    except MockupError as error:
        raise error.within(name) from None
    except Exception:  # a hostile header fails in Pillow in many ways
        if kind == "TIFF":  # Pillow gives one answer for both
            raise MockupError("This TIFF file is damaged, or of a rare kind.",
                              fix="Export it again as a plain RGB TIFF with 8 or 16 bits.", where=name) from None
        raise MockupError(f"This {kind} file is damaged.", fix=_DAMAGED, where=name) from None
    if header.width < 1 or header.height < 1:
        raise MockupError("This picture has no pixels.", fix=_DAMAGED, where=name)
    if header.width * header.height > max_pixels:
        raise MockupError(
            f"This picture is {header.width} x {header.height} pixels; at most {max_pixels / 1e6:g} million are read.",
            fix="Make it smaller and use that.", where=name)
    return header


def _kind(data: bytes, name: str) -> str:
    if not data:
        raise MockupError("This file is empty.", fix=_DAMAGED, where=name)
    if data[:3] == b"\xff\xd8\xff":
        return "JPEG"
    if data[:8] == b"\x89PNG\r\n\x1a\n":
        return "PNG"
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "WebP"
    if is_heic(data):
        return "HEIC"
    for start, mark, what in _OTHERS:
        if data[start:start + len(mark)] == mark:
            raise _is(what, name)
    if data[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"):
        return "TIFF"
    if data[:2] == b"BM" and len(data) > 26:
        return "BMP"
    raise MockupError("This is not a picture file.", fix="Use a JPEG, PNG, WebP, HEIC, TIFF or BMP picture.", where=name)


def _jpeg(data: bytes) -> Header:
    image = open_lazily(data, "JPEG")
    if getattr(image, "bits", 8) != 8:
        raise MockupError(f"This JPEG has {image.bits} bits per channel.", fix="Export it with 8 bits, or as TIFF.")
    turn, says, notes = _exif(image)
    return Header("JPEG", *image.size, image.mode, turn=turn, turned=turn, icc=image.info.get("icc_profile"),
                  says=says, notes=notes)


def _webp(data: bytes) -> Header:
    image = open_lazily(data, "WebP")
    if getattr(image, "n_frames", 1) > 1:
        raise _moving()
    turn, says, notes = _exif(image)
    return Header("WebP", *image.size, image.mode, turn=turn, turned=turn, icc=image.info.get("icc_profile"),
                  says=says, notes=notes)


def _heic(data: bytes) -> Header:
    size, mode, bits, icc, says = heic_facts(data)  # its decoder turns it upright
    return Header("HEIC", *size, mode, bits=16 if bits > 8 else 8, icc=icc, says=says)


def _bmp(data: bytes) -> Header:
    image = open_lazily(data, "BMP")
    return Header("BMP", *image.size, image.mode)


def _tiff(data: bytes) -> Header:
    image = open_lazily(data, "TIFF")
    tags = image.tag_v2
    if 50706 in tags:
        raise _is(_RAW)
    bits = tags.get(258, (1,))
    bits = max(bits) if isinstance(bits, tuple) else int(bits)
    photometric = int(tags.get(262, 1))
    extra = tags.get(338, ())
    extra = extra if isinstance(extra, tuple) else (extra,)
    if bits > 16 or image.mode == "F":
        raise MockupError(f"This TIFF has {bits} bits per channel.", fix="Export it with 8 or 16 bits.")
    if photometric in (8, 9, 10):
        raise MockupError("This TIFF keeps its colours as Lab.", fix="Export it as RGB.")
    if bits > 8 and (photometric not in (0, 1, 2) or int(tags.get(284, 1)) != 1 or bits != 16):
        raise MockupError("This TIFF is of a rare 16-bit kind.", fix="Export it as a plain, interleaved 16-bit RGB TIFF.")
    turned, says, notes = _exif(image)
    icc = image.info.get("icc_profile")
    if icc is not None and not isinstance(icc, bytes):
        icc = b""  # a damaged tag: its profile is told as damaged
    size = image.size
    if bits == 16:
        alphas = {1: "L", 2: "LA", 3: "RGB", 4: "RGBA"}
        mode = alphas.get(int(tags.get(277, 1)), "")
        if (photometric == 2) != (mode in ("RGB", "RGBA")):
            raise MockupError("This TIFF has more channels than a colour picture.", fix="Export it as plain RGB.")
    else:
        mode = image.mode
    if image.n_frames > 1:
        for frame in range(1, image.n_frames):
            image.seek(frame)
            if not int(image.tag_v2.get(254, 0)) & 1:  # not a small preview of the first
                raise MockupError("This TIFF has several pages.", fix="Export the one picture to use.")
    return Header("TIFF", *size, mode, bits=bits, turned=turned, icc=icc, says=says,
                  inverted=bits == 16 and photometric == 0, multiplied=bits == 16 and 1 in extra, notes=notes)


def _png(data: bytes) -> Header:
    found: dict[bytes, bytes] = {}
    place = 8
    while True:
        if place + 12 > len(data):
            raise _cut_off("PNG")
        length, key = struct.unpack_from(">I4s", data, place)
        end = place + 12 + length
        if end > len(data):
            raise _cut_off("PNG")
        body = memoryview(data)[place + 8:end - 4]
        # libpng would print its own words about a wrong sum.
        if zlib.crc32(body, zlib.crc32(key)) != struct.unpack_from(">I", data, end - 4)[0]:
            raise MockupError("This PNG file is damaged.", fix=_DAMAGED)
        if key != b"IDAT":
            found.setdefault(key, bytes(body))
        place = end
        if key == b"IEND":
            break
    width, height, bits, colour = struct.unpack_from(">IIBB", found[b"IHDR"])
    if b"acTL" in found and struct.unpack_from(">I", found[b"acTL"])[0] > 1:
        raise _moving()
    mode = {0: "L", 2: "RGB", 3: "P", 4: "LA", 6: "RGBA"}[colour]
    notes: tuple[str, ...] = ()
    turn, says = 1, ""
    if b"eXIf" in found:
        from PIL.Image import Exif
        turn, says, notes = _exif(None, Exif(), found[b"eXIf"])
    icc = _png_profile(found[b"iCCP"]) if b"iCCP" in found else None
    if b"cICP" in found:
        primaries, transfer = found[b"cICP"][0], found[b"cICP"][1]
        if transfer in (16, 18):
            raise MockupError("This PNG is a high dynamic range picture.", fix="Export it as ordinary sRGB.")
        if (primaries, transfer) == (1, 13):
            says = "sRGB"
        elif icc is None:
            notes += ("its cICP colour mark is not followed",)
    if b"sRGB" in found:
        says = "sRGB"
    elif b"gAMA" in found and icc is None and abs(struct.unpack(">I", found[b"gAMA"])[0] - 45455) > 500:
        gamma = struct.unpack(">I", found[b"gAMA"])[0] / 1e5
        notes += (f"its gamma mark of {gamma:g} is not followed",)
    return Header("PNG", width, height, mode, bits=bits, turn=turn, turned=turn, icc=icc, says=says,
                  keyed=b"tRNS" in found, notes=notes)


def _png_profile(chunk: bytes) -> bytes:
    """The profile in an iCCP chunk; b"" when it does not unpack."""
    name, _, packed = chunk.partition(b"\0")
    opened = zlib.decompressobj()
    try:
        profile = opened.decompress(packed[1:], _PROFILE_LIMIT)
    except zlib.error:
        return b""
    return profile if opened.eof else b""


def _exif(image, exif=None, raw: bytes | None = None) -> tuple[int, str, tuple[str, ...]]:
    """Orientation, colour mark and notes out of the EXIF block, if there is a readable one."""
    try:
        if exif is None:
            exif = image.getexif()
        else:
            exif.load(raw)
        turn = exif.get(0x0112, 1)
        turn = int(turn) if turn in range(1, 9) else 1
        colour = exif.get_ifd(0x8769).get(0xA001)
        mark = str(exif.get_ifd(0xA005).get(1, "")).strip("\0 ")
        says = "Adobe RGB" if colour == 2 or (colour == 0xFFFF and mark == "R03") else "sRGB" if colour == 1 else ""
        return turn, says, ()
    except Exception:  # a damaged EXIF block does no harm to the pixels
        return 1, "", ("its EXIF block is damaged and was left out",)


def _is(what: tuple[str, str], name: str = "") -> MockupError:
    return MockupError(f"This is {what[0]}.", fix=what[1], where=name)


def _moving() -> MockupError:
    return MockupError("This picture moves (it has several frames).", fix="Export one frame of it.")


def _cut_off(kind: str) -> MockupError:
    return MockupError(f"This {kind} file is cut off.", fix=_DAMAGED)


_READERS = {"JPEG": _jpeg, "PNG": _png, "WebP": _webp, "HEIC": _heic, "TIFF": _tiff, "BMP": _bmp}
