"""Staff notation: a score engraved by verovio, drawn by matplotlib.

In: a score as MusicXML. Out: pages of outlines and words in millimetres, which `draw` puts into
axes; so a sheet is one drawing, and comes out as PDF, SVG or PNG alike. Verovio writes SVG, of
which only a few kinds of elements are used; one that is not known is refused, never left out.
"""

import functools
import re
from collections.abc import Iterator
from typing import Any, NamedTuple
from xml.etree import ElementTree as ET

import numpy as np
from fontTools.pens.recordingPen import RecordingPen
from fontTools.svgLib.path import parse_path
from matplotlib.axes import Axes
from matplotlib.collections import PathCollection
from matplotlib.path import Path as Outline
from numpy.typing import NDArray

from reedbore.errors import ReedboreError

STAFF_UNITS = 720.0
"""Height of a staff in the units of the SVG, ten of which are one of the options'."""

POINTS_PER_MM = 72.0 / 25.4
TALLEST = 60000
"""The longest page that is laid out, in units of the options."""

MUSICAL = {chr(0xECA5): "♩"}
"""Signs of the music font that stand in words, and the letters that every font has for them."""

SVG = "{http://www.w3.org/2000/svg}"
LINK = "{http://www.w3.org/1999/xlink}href"
BOLD, ITALIC = {"tempo", "fing", "reh", "ending"}, {"dir", "dynam", "mNum"}

_STEP = re.compile(r"(translate|scale)\(\s*([-\d.]+)(?:[\s,]+([-\d.]+))?\s*\)")

Matrix = NDArray[np.float64]


class Shape(NamedTuple):
    """An outline [mm], whether it is filled, and how thick its line is [mm]."""

    outline: Outline
    filled: bool
    line: float


class Words(NamedTuple):
    """Words: where [mm], how high [mm], to which side of the place, and how they look."""

    x: float
    y: float
    text: str
    height: float
    side: str
    bold: bool
    italic: bool


class Page(NamedTuple):
    """One engraved page: shapes, words, how wide and high it is [mm], and how many lines it has."""

    shapes: tuple[Shape, ...]
    words: tuple[Words, ...]
    width: float
    height: float
    lines: int


def engraved(score: bytes, width: float, staff: float, height: float | None = None) -> list[Page]:
    """Engrave a score.

    Parameters
    ----------
    score : bytes
        MusicXML.
    width : float
        Of the music. [mm]
    staff : float
        Height of a staff. [mm]
    height : float, optional
        Of a page at most; None for one page as high as all the music. [mm]

    Returns
    -------
    list of Page
        In order.

    Raises
    ------
    ReedboreError
        If verovio is not installed.
    """
    try:
        import verovio  # noqa: PLC0415 - an extra: only sheets need it
    except ImportError as error:
        raise ReedboreError(
            "staff notation needs verovio, which is not installed: pip install '.[sheet]'"
        ) from error
    unit = staff / STAFF_UNITS  # [mm]
    tool = verovio.toolkit()
    verovio.enableLog(verovio.LOG_OFF)
    tool.setOptions(
        {
            "pageWidth": round(width / unit / 10.0),
            "pageHeight": TALLEST if height is None else round(height / unit / 10.0),
            "adjustPageHeight": True,
            "breaks": "smart",  # where the score says, if that fills so much of a line
            "breaksSmartSb": 0.3,
            "header": "none",
            "footer": "none",
            "svgViewBox": True,
            "xmlIdSeed": 1,
            **{f"pageMargin{side}": 0 for side in ("Left", "Right", "Top", "Bottom")},
        }
    )
    if not tool.loadData(score.decode()):
        raise AssertionError("verovio refuses what was written as MusicXML")
    return [_page(tool.renderToSVG(number + 1), unit) for number in range(tool.getPageCount())]


def draw(axes: Axes, page: Page, left: float, top: float, colour: str) -> None:
    """Draw a page into axes that are in millimetres, their y going down."""
    move = np.array([left, top])
    axes.add_collection(
        PathCollection(
            [Outline(shape.outline.vertices + move, shape.outline.codes) for shape in page.shapes],
            facecolors=[colour if shape.filled else "none" for shape in page.shapes],
            edgecolors=[colour if shape.line else "none" for shape in page.shapes],
            linewidths=[shape.line * POINTS_PER_MM for shape in page.shapes],
            capstyle="butt",
            joinstyle="miter",
        ),
        autolim=False,
    )
    for word in page.words:
        axes.text(
            word.x + left,
            word.y + top,
            word.text,
            fontsize=word.height * POINTS_PER_MM,
            ha={"middle": "center", "end": "right"}.get(word.side, "left"),
            va="baseline",
            color=colour,
            weight="bold" if word.bold else "normal",
            style="italic" if word.italic else "normal",
        )


def _page(svg: str, unit: float) -> Page:
    root = ET.fromstring(svg)
    glyphs = {f"#{one.get('id')}": one for one in root.findall(f"{SVG}defs/{SVG}g")}
    inner = root.find(f"{SVG}svg")
    assert inner is not None
    width, height = map(float, inner.get("viewBox", "").split()[2:])
    shapes: list[Shape] = []
    words: list[Words] = []
    for found in _walk(inner, np.diag([unit, unit, 1.0]), glyphs, frozenset()):
        (shapes if isinstance(found, Shape) else words).append(found)  # type: ignore[arg-type]
    lines = sum(one.get("class") == "system" for one in inner.iter(f"{SVG}g"))
    return Page(tuple(shapes), tuple(words), width * unit, height * unit, lines)


def _walk(
    element: ET.Element, matrix: Matrix, glyphs: dict[str, ET.Element], classes: frozenset[str]
) -> Iterator[Shape | Words]:
    """Yield what is drawn in an element, in millimetres."""
    kind = element.tag.removeprefix(SVG)
    classes |= frozenset(element.get("class", "").split())
    if "placeholder" in classes or kind in {"defs", "desc", "style", "title"}:
        return
    matrix = matrix @ _transform(element.get("transform", ""))
    if kind in {"g", "svg"}:
        for child in element:
            yield from _walk(child, matrix, glyphs, classes)
    elif kind == "use":
        for child in glyphs[element.get(LINK, "")]:
            yield from _walk(child, matrix, glyphs, classes | {"glyph"})
    elif kind == "text":
        yield from _words(element, matrix, classes)
    else:
        yield _shape(element, kind, matrix, glyph="glyph" in classes)


def _transform(text: str) -> Matrix:
    matrix = np.eye(3)
    left = _STEP.sub("", text).strip(" ,")
    if left:
        raise AssertionError(f"verovio turns something by {left!r}")
    for name, first, second in _STEP.findall(text):
        x = float(first)
        step = np.eye(3)
        if name == "translate":
            step[:2, 2] = x, float(second or 0.0)
        else:
            step[0, 0], step[1, 1] = x, float(second or x)
        matrix = matrix @ step
    return matrix


def _shape(element: ET.Element, kind: str, matrix: Matrix, *, glyph: bool) -> Shape:
    """Return one drawn element, in millimetres."""
    corners = [[float(n) for n in p.split(",")] for p in element.get("points", "").split()]
    if kind == "path":
        outline = _outline(element.get("d", ""))
    elif kind == "polyline":
        outline = Outline(np.array(corners))
    elif kind == "polygon":
        outline = Outline(np.array([*corners, corners[0]]), closed=True)
    elif kind == "ellipse":
        outline = _placed(Outline.unit_circle(), element, "cx", "cy", "rx", "ry")
    elif kind == "rect":
        outline = _placed(Outline.unit_rectangle(), element, "x", "y", "width", "height")
    else:
        raise AssertionError(f"verovio draws a {kind!r}, which is not known here")
    thick = 0.0 if glyph else float(element.get("stroke-width", "1").removesuffix("px"))
    curved = outline.codes is None or bool(set(np.asarray(outline.codes).tolist()) & CURVES)
    filled = element.get("fill") != "none" and (kind != "path" or glyph or curved)
    vertices = np.asarray(outline.vertices) @ matrix[:2, :2].T + matrix[:2, 2]
    return Shape(Outline(vertices, outline.codes), filled, thick * abs(float(matrix[0, 0])))


CURVES = {int(Outline.CURVE3), int(Outline.CURVE4), int(Outline.CLOSEPOLY)}


def _placed(outline: Outline, element: ET.Element, *names: str) -> Outline:
    """Put a circle or a square where an element says: x, y, and its two sizes."""
    x, y, wide, high = (float(element.get(name, "0")) for name in names)
    return Outline(np.asarray(outline.vertices) * [wide, high] + [x, y], outline.codes)


@functools.lru_cache(maxsize=256)
def _outline(text: str) -> Outline:
    """Turn the path of an SVG into one of matplotlib."""
    pen = RecordingPen()
    parse_path(text, pen)
    codes = {
        "moveTo": [Outline.MOVETO], "lineTo": [Outline.LINETO],
        "curveTo": [Outline.CURVE4] * 3, "qCurveTo": [Outline.CURVE3] * 2,
    }  # fmt: skip
    vertices: list[Any] = []
    made: list[Any] = []
    for name, points in pen.value:
        if name == "closePath":
            vertices.append(vertices[-1])
            made.append(Outline.CLOSEPOLY)
        elif name != "endPath":
            vertices += points
            made += codes[name]
    return Outline(vertices, made)


def _words(element: ET.Element, matrix: Matrix, classes: frozenset[str]) -> Iterator[Words]:
    """Yield the words of a text; its parts follow each other on one line."""
    parts = [one for one in element.iter(f"{SVG}tspan") if one.text and one.text.strip()]
    if not parts:
        return
    text = "".join(MUSICAL.get(letter, letter) for one in parts for letter in one.text or "")
    sizes = [
        float(one.get("font-size", "0").removesuffix("px"))
        for one in parts
        if not one.get("font-family")
    ]
    place = next((one for one in (*parts, element) if one.get("x")), element)
    x, y, _ = matrix @ [float(place.get("x", "0")), float(place.get("y", "0")), 1.0]
    yield Words(
        float(x), float(y), " ".join(text.split()), max(sizes) * abs(float(matrix[0, 0])),
        place.get("text-anchor") or element.get("text-anchor") or "start",
        bool(classes & BOLD), bool(classes & ITALIC),
    )  # fmt: skip
