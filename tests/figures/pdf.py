"""What is written in a PDF, as a reader that searches or copies it finds it."""

from __future__ import annotations

import re
import zlib

STRING = rb"\((?:\\.|[^\\()])*\)"
PIECE = re.compile(rb"/(F\d+) [\d.]+ Tf|(" + STRING + rb")|\bT[jJ]\b", re.DOTALL)
ESCAPES = {b"n": b"\n", b"r": b"\r", b"t": b"\t", b"b": b"\b", b"f": b"\f"}


def objects(data: bytes) -> dict[bytes, bytes]:
    """Every object by number, its stream decompressed."""
    found: dict[bytes, bytes] = {}
    for match in re.finditer(rb"^(\d+) 0 obj\n(.*?)\nendobj", data, re.DOTALL | re.MULTILINE):
        head, mark, stream = match.group(2).partition(b"stream\n")
        body = stream.removesuffix(b"\nendstream")
        found[match.group(1)] = head + (zlib.decompress(body) if b"/FlateDecode" in head else mark + body)
    return found


def letters(cmap: bytes) -> dict[int, str]:
    """Text of each code of a font."""
    known: dict[int, str] = {}
    for match in re.finditer(rb"<([0-9a-f]+)> <[0-9a-f]+> \[([^\]]*)\]", cmap):
        for offset, text in enumerate(re.findall(rb"<([0-9a-f]+)>", match.group(2))):
            known[int(match.group(1), 16) + offset] = bytes.fromhex(text.decode()).decode("utf-16-be")
    return known


def unescaped(string: bytes) -> bytes:
    """Bytes of a string in brackets."""

    def plain(match: re.Match[bytes]) -> bytes:
        code = match.group(1)
        return bytes([int(code, 8)]) if code.isdigit() else ESCAPES.get(code, code)

    return re.sub(rb"\\([0-7]{1,3}|.)", plain, string[1:-1], flags=re.DOTALL)


def pdf_text(data: bytes) -> str:
    """Text shown on the pages, one blank between the strings that are placed apart."""
    parts = objects(data)
    joined = b"\n".join(parts.values())
    fonts = {
        name: letters(parts[re.search(rb"/ToUnicode (\d+) 0 R", parts[number]).group(1)])
        for name, number in re.findall(rb"/(F\d+) (\d+) 0 R", joined)
    }
    shown, font = "", b""
    for page in (part for part in parts.values() if b" Tf" in part):
        for match in PIECE.finditer(page):
            if match.group(1):
                font = match.group(1)
            elif match.group(2):
                code = unescaped(match.group(2))
                pairs = (int.from_bytes(code[at : at + 2], "big") for at in range(0, len(code), 2))
                shown += "".join(fonts[font][pair] for pair in pairs)
            else:
                shown += " "
    return shown
