"""Files written byte by byte: small ones that claim much, which no library would write."""

import io
import struct
import zlib


def saved(image, kind, **more):
    out = io.BytesIO()
    image.save(out, kind, **more)
    return out.getvalue()


def chunk(name, body):
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))


def png(width, height, depth, colour, packed):
    """PNG specification, third edition, 5.3 and 11.2: signature, IHDR, IDAT, IEND."""
    head = struct.pack(">IIBBBBB", width, height, depth, colour, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", packed) + chunk(b"IEND", b"")


def even_png(width, height, depth, colour, channels):
    """A whole picture of noughts, packed row by row: black, and clear where it has an alpha channel."""
    stream, row = zlib.compressobj(1), bytes(1 + -(-width * channels * depth // 8))
    return png(
        width, height, depth, colour, b"".join(stream.compress(row) for _ in range(height)) + stream.flush()
    )


def tiff(*entries):
    """TIFF 6.0: header and one directory; each entry is tag, type, count, value."""
    rows = b"".join(struct.pack("<HHII", *entry) for entry in entries)
    return b"II*\0" + struct.pack("<IH", 8, len(entries)) + rows + bytes(4)


def tiff_head(width, height):
    """Grey, 8 bits, one strip at the very end of the file: nothing of it is there."""
    return tiff(
        (256, 4, 1, width),
        (257, 4, 1, height),
        (258, 3, 1, 8),
        (259, 3, 1, 1),
        (262, 3, 1, 1),
        (273, 4, 1, 200),
        (278, 4, 1, height),
        (279, 4, 1, width * height),
    )


def jpeg_head(width, height, *, start=0xC0, channels=3, in_first_scan=3):
    """ITU-T T.81, B.2.2 and B.2.3: start of image, frame header, scan header; no coded data at all."""
    each = b"".join(struct.pack("BBB", n + 1, 0x11, 0) for n in range(channels))
    frame = struct.pack(">HBHHB", 8 + len(each), 8, height, width, channels) + each
    chosen = b"".join(struct.pack("BB", n + 1, 0) for n in range(in_first_scan)) + bytes((0, 63, 0))
    scan = struct.pack(">HB", 3 + len(chosen), in_first_scan) + chosen
    return b"\xff\xd8\xff" + bytes([start]) + frame + b"\xff\xda" + scan


def webp(width, height):
    """RFC 9649, 2.6 and 3: a lossless picture of one colour in 34 bytes, whatever its size."""
    head = (0x2F, 8), (width - 1, 14), (height - 1, 14), (1, 1), (0, 3)
    plain = (0, 1), (0, 1), (0, 1)  # no transform, no colour cache, no meta prefix codes
    codes = ((1, 4),) * 5  # five prefix codes of one symbol each, which is nought
    value = place = 0
    for number, bits in (*head, *plain, *codes):
        value |= number << place
        place += bits
    body = b"VP8L" + struct.pack("<I", 14) + value.to_bytes(14, "little")
    return b"RIFF" + struct.pack("<I", 4 + len(body)) + b"WEBP" + body
