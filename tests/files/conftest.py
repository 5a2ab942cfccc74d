"""Makers of pictures and of ICC profiles, written from the format and not from our reader."""

import io
import struct

import numpy as np
import pytest
from PIL import Image

# ICC.1:2022, 7.2.16 and annex E: D50 of the connection space and the Bradford cone matrix.
D50 = np.array([0.9642, 1.0, 0.8249])
CONES = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
P3 = ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060))      # SMPTE EG 432-1, with the D65 white of Display P3
ADOBE = ((0.64, 0.33), (0.21, 0.71), (0.15, 0.06))         # Adobe RGB (1998), 4.3.1
SRGB_CURVE = (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)


def fixed(*values):
    return b"".join(struct.pack(">i", round(v * 65536)) for v in values)


def assemble(space, pcs, tags, version=0x04300000, kind=b"mntr"):
    body, table, start = b"", b"", 132 + 12 * len(tags)
    for key, data in tags.items():
        table += key + struct.pack(">II", start + len(body), len(data))
        body += data + bytes(-len(data) % 4)
    header = struct.pack(">I4sI4s4s4s6H4s", start + len(body), bytes(4), version, kind, space, pcs,
                         2024, 1, 1, 0, 0, 0, b"acsp") + bytes(28) + fixed(*D50)
    return header.ljust(128, b"\0") + struct.pack(">I", len(tags)) + table + body


def text(key, words):
    words = words.encode("utf-16-be")
    return {key: b"mluc" + bytes(4) + struct.pack(">II2s2sII", 1, 12, b"en", b"US", len(words), 28) + words}


def para(*p):
    return b"para" + bytes(4) + struct.pack(">HH", {1: 0, 3: 1, 4: 2, 5: 3, 7: 4}[len(p)], 0) + fixed(*p)


def gamma(value):
    return b"curv" + bytes(4) + struct.pack(">IH", 1, round(value * 256))


def matrix_icc(name, xy, curve, white=(0.3127, 0.3290)):
    """A matrix and curve profile of primaries xy with a D65 white."""
    to_xyz = lambda x, y: np.array([x / y, 1, (1 - x - y) / y])
    columns = np.stack([to_xyz(*p) for p in xy], axis=1)
    columns = columns * np.linalg.solve(columns, to_xyz(*white))
    adapt = np.linalg.inv(CONES) @ np.diag((CONES @ D50) / (CONES @ to_xyz(*white))) @ CONES
    columns = adapt @ columns
    tags = {**text(b"desc", name), **text(b"cprt", "free"), b"wtpt": b"XYZ " + bytes(4) + fixed(*D50)}
    for i, key in enumerate((b"r", b"g", b"b")):
        tags[key + b"XYZ"] = b"XYZ " + bytes(4) + fixed(*columns[:, i])
        tags[key + b"TRC"] = curve
    return assemble(b"RGB ", b"XYZ ", tags)


def table_icc(space, lab_of):
    """A profile that is a table: Lab of every corner of the cube of inks or lights (lut16Type, version 2 Lab)."""
    channels = 4 if space == b"CMYK" else 3
    corners = np.stack(np.meshgrid(*[[0, 1]] * channels, indexing="ij"), -1).reshape(-1, channels)
    lab = np.array([lab_of(corner) for corner in corners], float)
    codes = np.rint(np.stack([lab[:, 0] * 652.80, (lab[:, 1] + 128) * 256, (lab[:, 2] + 128) * 256], 1))
    lut = b"mft2" + bytes(4) + struct.pack(">BBBB", channels, 3, 2, 0) + fixed(1, 0, 0, 0, 1, 0, 0, 0, 1)
    lut += struct.pack(">HH", 2, 2) + struct.pack(">HH", 0, 65535) * channels
    lut += codes.clip(0, 65535).astype(">u2").tobytes() + struct.pack(">HH", 0, 65535) * 3
    name = b"table"
    desc = b"desc" + bytes(4) + struct.pack(">I", len(name) + 1) + name + b"\0" + bytes(78)
    tags = {b"desc": desc, b"cprt": b"text" + bytes(4) + b"free\0", b"wtpt": b"XYZ " + bytes(4) + fixed(*D50),
            b"A2B0": lut}
    return assemble(space, b"Lab ", tags, version=0x02400000, kind=b"prtr" if space == b"CMYK" else b"scnr")


def with_table(icc, other):
    """``icc`` with the table of ``other`` as well, and its connection space."""
    def tags(data):
        count, = struct.unpack_from(">I", data, 128)
        places = [struct.unpack_from(">4sII", data, 132 + 12 * i) for i in range(count)]
        return {key: data[start:start + size] for key, start, size in places}
    return assemble(b"RGB ", b"XYZ ", {**tags(icc), b"A2B0": tags(other)[b"A2B0"]})


@pytest.fixture(scope="session")
def p3_icc():
    return matrix_icc("Display P3", P3, para(*SRGB_CURVE))


@pytest.fixture(scope="session")
def adobe_icc():
    return matrix_icc("Adobe RGB (1998)", ADOBE, gamma(563 / 256))


@pytest.fixture(scope="session")
def grey_icc():
    return assemble(b"GRAY", b"XYZ ", {**text(b"desc", "Grey 1.8"), b"wtpt": b"XYZ " + bytes(4) + fixed(*D50),
                                       b"kTRC": gamma(1.8)})


@pytest.fixture(scope="session")
def rgb_table_icc():
    """Swaps nothing, but darkens: only lightness follows the mean of the channels."""
    return table_icc(b"RGB ", lambda rgb: (100 * rgb.mean(), 0, 0))


@pytest.fixture(scope="session")
def cmyk_icc():
    """Inks of a simple press: lightness falls with ink, magenta and yellow give red."""
    return table_icc(b"CMYK", lambda ink: (max(100 - 20 * ink[:3].sum() - 100 * ink[3], 0) ,
                                           60 * (ink[1] - ink[0]) * (1 - ink[3]), 60 * (ink[2] - ink[1] / 2) * (1 - ink[3])))


@pytest.fixture(scope="session")
def scene():
    """A small colourful picture, (30, 40, 3) uint8, with no symmetry."""
    y, x = np.mgrid[0:30, 0:40]
    return np.stack([x * 6, y * 8, (x * 3 + y * 5) % 256], -1).astype(np.uint8)


@pytest.fixture(scope="session")
def saved():
    """Bytes of a picture as Pillow writes them: saved(array, "PNG", icc_profile=...)."""
    def save(array, kind, mode=None, **how):
        image = array if isinstance(array, Image.Image) else Image.fromarray(array, mode)
        file = io.BytesIO()
        image.save(file, kind, **how)
        return file.getvalue()
    return save


@pytest.fixture(scope="session")
def made():
    """The makers above, for a test that puts together its own profile."""
    from types import SimpleNamespace
    return SimpleNamespace(P3=P3, para=para, gamma=gamma, matrix_icc=matrix_icc, with_table=with_table)
