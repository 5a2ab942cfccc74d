"""PNG in bands, read by two independent decoders and by zlib, which checks the joined checksum."""

import io
import struct
import zlib

import cv2
import numpy as np
import pytest
from numpy.testing import assert_array_equal
from PIL import Image

from mockup.files.png import png_bytes


def idat(data):
    place, found = 8, []
    while place < len(data):
        length, key = struct.unpack_from(">I4s", data, place)
        if key == b"IDAT":
            found.append(data[place + 8:place + 8 + length])
        place += 12 + length
    return b"".join(found)


@pytest.mark.parametrize("bits", [8, 16])
@pytest.mark.parametrize(("width", "height"), [(1, 1), (7, 1), (1, 128), (33, 129), (5, 256), (640, 700)])
def test_every_size_and_depth_comes_back_exactly(width, height, bits):
    kind = np.uint8 if bits == 8 else np.uint16
    pixels = np.random.default_rng(width * height).integers(0, 2**bits, (height, width, 3)).astype(kind)
    pixels[height // 3:height // 2] = 200  # runs as well as noise
    data = png_bytes((width, height), lambda first, last: pixels[first:last], bits=bits, px_per_mm=4)
    assert_array_equal(cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)[..., ::-1], pixels)
    if bits == 8:
        image = Image.open(io.BytesIO(data))
        image.load()
        assert_array_equal(np.asarray(image), pixels)
    # zlib refuses a stream whose Adler-32 (RFC 1950) is not that of all its bytes.
    assert len(zlib.decompress(idat(data))) == height * (1 + width * 3 * bits // 8)
