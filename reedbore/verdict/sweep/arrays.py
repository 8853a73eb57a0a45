"""The arrays of a store, in the Zarr v3 format: parts have checksums, and what is lost is named.

In: a folder, names, values. Out: arrays as they were written, or one sentence that names the file
that is not. Every part of an array is written, one of nothing but its fill value too: so a part
that is not there was never written, or was lost.
"""

from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
import zarr
import zarr.errors
from numpy.typing import NDArray
from zarr.codecs import Crc32cCodec, ZstdCodec

from reedbore.errors import ReedboreError

Array = zarr.Array[Any]

MADE_BY = "reedbore sweep"
ATLAS = "reedbore locks"
"""What stores say of who made them."""

_BROKEN = OSError, LookupError, RuntimeError, TypeError, ValueError, zarr.errors.BaseZarrError
"""What zarr raises when it reads a file that is cut short, strange, or of another kind."""


class Damaged(ReedboreError):
    """A file of a store is lost, or does not hold what was written."""

    def __init__(self, path: Path, file: str, error: Exception | None = None) -> None:
        why = f"is damaged ({' '.join(str(error).split())})" if error else "is lost"
        super().__init__(f"{path}: {file} {why}; the same command makes it again")


def unwritable(path: Path, error: OSError) -> ReedboreError:
    """Say that a store cannot be written, and why."""
    return ReedboreError(f"{path} cannot be written ({(error.strerror or str(error)).lower()})")


def open_group(path: Path, mode: Any = "r") -> zarr.Group:
    """Open a store; a ReedboreError if there is none of a sweep, or of an atlas."""
    try:
        group = zarr.open_group(path, mode=mode, zarr_format=3)
    except _BROKEN as error:
        there = "holds no sweep and no atlas" if path.exists() else "is not there"
        if (path / "zarr.json").is_file():
            there += f": zarr.json is damaged ({' '.join(str(error).split())})"
        raise ReedboreError(f"{path} {there}") from error
    if group.attrs.get("made_by") not in (MADE_BY, ATLAS):
        raise ReedboreError(f"{path} holds other data than a sweep or an atlas")
    return group


def is_atlas(path: Path) -> bool:
    """Tell the store of an atlas from that of a sweep; a ReedboreError if it is neither."""
    return bool(open_group(path).attrs["made_by"] == ATLAS)


def make(group: zarr.Group, name: str, shape: tuple[int, ...], dtype: Any, **options: Any) -> Any:
    """Make an array, every part of which is written and has a checksum.

    Parameters
    ----------
    group : Group
        Of the store.
    name : str
        Of the array.
    shape, dtype
        As of numpy.
    **options
        For `zarr.Group.create_array`: ``chunks``, ``fill_value``, ``dimension_names`` and so on.

    Returns
    -------
    Array
        Nothing but its fill value.
    """
    codecs = [ZstdCodec(level=0), Crc32cCodec()]
    return group.create_array(
        name,
        shape=shape,
        dtype=dtype,
        compressors=codecs,
        config={"write_empty_chunks": True},
        **options,
    )


def array_of(path: Path, group: zarr.Group, name: str) -> Array:
    """Find an array; `Damaged` if it is not there, or no array."""
    try:
        found = group[name]
    except KeyError:
        raise Damaged(path, f"{name}/zarr.json") from None
    except _BROKEN as error:
        raise Damaged(path, f"{name}/zarr.json", error) from error
    if not isinstance(found, zarr.Array):
        raise Damaged(path, f"{name}/zarr.json", TypeError("it is no array"))
    return found


def read(path: Path, group: zarr.Group, name: str) -> NDArray[Any]:
    """Read an array that is written in one piece; `Damaged` if it is lost, or not as it was."""
    array = array_of(path, group, name)
    return read_part(path, array, (0,) * array.ndim, ...)


def read_part(path: Path, array: Array, place: tuple[int, ...], block: Any) -> NDArray[Any]:
    """Read a part of an array that has been written; `Damaged` if it is lost, or not as it was.

    Parameters
    ----------
    path : Path
        The store.
    array : Array
        One of its arrays. Of old ones, which have no checksums, a part that is not there is one
        of nothing but fill values.
    place : tuple of int
        Which part, along each axis.
    block : tuple of slice
        What it holds.

    Returns
    -------
    ndarray
        The values.
    """
    file = part_file(path, array, place)
    if checked(array) and not file.exists():
        raise Damaged(path, str(file.relative_to(path)))
    try:
        return np.asarray(array[block])
    except _BROKEN as error:
        raise Damaged(path, str(file.relative_to(path)), error) from error


def blank_part(array: Array, block: Any) -> NDArray[Any]:
    """Make what a part holds before it is written, whatever lies in its file."""
    shape = tuple(part.stop - part.start for part in block)
    return np.full((*shape, *array.shape[len(shape) :]), array.fill_value, array.dtype)


def write_part(array: Array, block: Any, values: NDArray[Any]) -> None:
    """Write a part of an array, also if it holds nothing but fill values."""
    array.with_config({"write_empty_chunks": True})[block] = values


def checked(array: Array) -> bool:
    """Tell whether the parts of an array have checksums, and are written without exception."""
    return any(isinstance(codec, Crc32cCodec) for codec in array.metadata.codecs)  # type: ignore[union-attr]


def part_file(path: Path, array: Array, place: Iterable[int]) -> Path:
    """Name the file of a part."""
    places = [*place, 0][: array.ndim]  # letters of a text, an axis more, are never cut
    return path / array.basename / "c" / "/".join(map(str, places))
