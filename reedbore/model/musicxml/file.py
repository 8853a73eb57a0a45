"""A MusicXML file that anybody may have made, taken apart: in its bytes, out the root of its XML.

Its size, unpacked too, its depth and the number of its elements are bounded, and one that declares
entities is refused: no score needs them.
"""

import io
import zipfile
import zlib
from collections.abc import Mapping
from pathlib import Path
from xml.etree import ElementTree as ET
from xml.parsers import expat

from reedbore.errors import NoteError
from reedbore.files import unfit

LARGEST_FILE = 20_000_000
MOST_ELEMENTS, DEEPEST = 1_000_000, 40
ZIPPED = ".mxl"
CONTAINER = "META-INF/container.xml"

PACKED = zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED
"""How members of a compressed score are packed: MusicXML 4.0, compressed files (from memory)."""
SPOILT = zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, ValueError
"""What the library raises for an archive that is none, is broken, ends too soon, is of a version
not known, or has places or names that cannot be; a test fails without any of them."""
UNDER_PASSWORD = 0x1
"""Flag of a member of an archive: .ZIP File Format Specification, 4.4.4, bit 0 (from memory)."""


def opened(path: Path) -> ET.Element:
    """Read a file, unpack it if it is packed, and parse it.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    Element
        Its root.

    Raises
    ------
    NoteError
        If it cannot be read, is too large, too deep, broken, or declares entities.
    """
    try:
        if wrong := unfit(path, LARGEST_FILE):
            raise NoteError(f"{path} {wrong}: no passage")
        data = path.read_bytes()
    except OSError as error:
        raise NoteError(f"{path} cannot be read: {error.strerror}") from None
    try:
        return _parsed(_unzipped(data) if path.suffix.lower() == ZIPPED else data)
    except NoteError as error:
        raise NoteError(f"{path.name}: {error}") from None


def _unzipped(data: bytes) -> bytes:
    """Return the score of a compressed file: the first that its container names."""
    try:
        held = zipfile.ZipFile(io.BytesIO(data))
    except SPOILT as error:
        raise _unpackable(error) from None
    with held:
        container = _parsed(_member(held, CONTAINER))
        found = next((e for e in container.iter() if _plain(e.tag) == "rootfile"), None)
        name = "" if found is None else found.get("full-path", "")
        if not name:
            raise NoteError(f"its {CONTAINER} names no score")
        return _member(held, name)


def _unpackable(why: object) -> NoteError:
    return NoteError(f"this is no compressed MusicXML file ({why})")


def _member(held: zipfile.ZipFile, name: str) -> bytes:
    if name not in held.namelist():
        raise NoteError(f"it holds no {name!r:.80}")
    member = held.getinfo(name)
    if member.flag_bits & UNDER_PASSWORD:
        raise _unpackable(f"{name!r:.80} lies under a password")
    if member.compress_type not in PACKED:
        raise _unpackable(f"{name!r:.80} is packed in a way not known")
    try:
        with held.open(name) as file:
            data = file.read(LARGEST_FILE + 1)
    except SPOILT as error:
        raise _unpackable(error) from None
    if len(data) > LARGEST_FILE:
        raise NoteError(f"{name!r:.80} in it is larger than {LARGEST_FILE // 1000} kB unpacked")
    return data


def _parsed(data: bytes) -> ET.Element:
    """Parse XML; nothing outside is fetched, and a file that declares entities is refused."""
    builder, depth, count = ET.TreeBuilder(), 0, 0
    parser = expat.ParserCreate()

    def start(name: str, attributes: Mapping[str, str]) -> None:
        nonlocal depth, count
        depth, count = depth + 1, count + 1
        if depth > DEEPEST:
            raise NoteError(f"it is nested more than {DEEPEST} deep (line {line()})")
        if count > MOST_ELEMENTS:
            raise NoteError(f"it has more than {MOST_ELEMENTS} elements")
        builder.start(name, dict(attributes))

    def end(name: str) -> None:
        nonlocal depth
        depth -= 1
        builder.end(name)

    def refuse(*_: object) -> None:
        raise NoteError(f"it declares entities, which no score needs (line {line()})")

    def line() -> int:
        return parser.CurrentLineNumber

    parser.StartElementHandler, parser.EndElementHandler = start, end
    parser.CharacterDataHandler = builder.data
    parser.EntityDeclHandler = refuse
    try:
        parser.Parse(data, True)
        return builder.close()
    except (expat.ExpatError, ValueError, LookupError) as error:
        raise NoteError(f"it is no whole XML ({error})") from None


def _plain(tag: str) -> str:
    """Return the name of an element without a prefix."""
    return tag.rpartition(":")[2]
