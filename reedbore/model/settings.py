"""What every model has in common: users' settings in, checked frozen SI out, mistakes in words.

In: mappings under the keys users write (``opening_mm``), or keyword arguments in SI (``opening``).
Out: models that hold SI floats, or a list of mistakes, each with the keys that lead to it.

A model finds the declarations of its numbers in `units` by its ``section``, the part of a
setting's name before the dot; the key there without its unit is the attribute.
"""

import difflib
from collections.abc import Iterable, Iterator, Mapping
from functools import cache
from pathlib import Path as FilePath
from typing import Any, ClassVar, NamedTuple, Self, get_args

from pydantic import (
    BaseModel,
    ConfigDict,
    ValidationError,
    ValidationInfo,
    field_validator,
    model_validator,
)
from pydantic_core import PydanticCustomError

from reedbore.errors import ModelError
from reedbore.model.units import (
    QUANTITIES,
    Quantity,
    allowed,
    as_number,
    attribute_of,
    complaint,
    from_si,
    other_unit,
    to_si,
)

Path = tuple[str | int, ...]


class Problem(NamedTuple):
    """One mistake: the keys and list positions that lead to it, what is wrong, what was meant."""

    path: Path
    sentence: str
    meant: Path = ()


@cache
def _keys(section: str) -> dict[str, str]:
    """Map the attributes of a section to the keys that set them, ``opening: opening_mm``."""
    inside = [key for key in QUANTITIES if key.rpartition(".")[0] == section]
    return {attribute_of(key): key.rpartition(".")[2] for key in inside}


def dotted(path: Path) -> str:
    """Write a path as users do, list positions counted from one.

    Parameters
    ----------
    path : tuple of str or int
        Keys and list positions.

    Returns
    -------
    str
        For example ``bore.sections.2.entry_mm``.
    """
    return ".".join(str(part + 1) if isinstance(part, int) else part for part in path)


def leaves(plain: Any, place: str = "") -> Iterator[tuple[str, Any]]:
    """List every setting in what `Part.to_plain` wrote.

    Parameters
    ----------
    plain : dict, list or single value
        What it wrote, or a piece of it.
    place : str, optional
        The name of that piece.

    Yields
    ------
    tuple of str and value
        For example ``("bore.sections.2.entry_mm", 12.0)``.
    """
    if isinstance(plain, dict):
        for key, value in plain.items():
            yield from leaves(value, f"{place}.{key}" if place else key)
    elif isinstance(plain, list):
        for number, value in enumerate(plain, 1):
            yield from leaves(value, f"{place}.{number}")
    else:
        yield place, plain


class Part(BaseModel):
    """Base of all models: takes users' units or SI, checks, is frozen, writes itself down."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    section: ClassVar[str] = ""
    renamed: ClassVar[Mapping[str, str]] = {}
    """Keys of older files, and what they are called now."""

    def __init__(self, **values: Any) -> None:
        try:
            super().__init__(**values)
        except ValidationError as error:
            found = _problems(type(self), error)
            raise ModelError("\n".join(problem.sentence for problem in found)) from None

    # Pydantic then fills nested models itself and so reports the mistakes of all of them at once.
    __init__.__pydantic_base_init__ = True  # type: ignore[attr-defined]

    @classmethod
    def quantity(cls, attribute: str) -> Quantity | None:
        """Look up the declaration of a numeric attribute; None for any other."""
        key = _keys(cls.section).get(attribute)
        return QUANTITIES[f"{cls.section}.{key}"] if key else None

    @classmethod
    def key(cls, attribute: str) -> str:
        """Name the key that sets an attribute, ``opening_mm`` for ``opening``."""
        return _keys(cls.section).get(attribute, attribute)

    @model_validator(mode="before")
    @classmethod
    def _users_units_to_si(cls, data: Any) -> Any:
        if not isinstance(data, Mapping):
            return data
        out = dict(data)
        for attribute, key in _keys(cls.section).items():
            if key == attribute or key not in out:
                continue
            if attribute in out:
                raise mistake("is given twice, in SI and in users' units", key)
            value, quantity = out.pop(key), cls.quantity(attribute)
            number = as_number(value)
            out[attribute] = value if number is None or not quantity else to_si(quantity, number)
        return out

    @field_validator("*", mode="before")
    @classmethod
    def _check_quantity(cls, value: Any, info: ValidationInfo) -> Any:
        quantity = cls.quantity(info.field_name or "")
        if quantity is None or (value is None and _may_be_none(cls, info.field_name or "")):
            return value
        number = as_number(value)
        edge_value = value if number is None else from_si(quantity, number)
        if wrong := complaint(quantity, edge_value):
            raise mistake(wrong)
        return to_si(quantity, edge_value)

    @classmethod
    def from_plain(cls, plain: Mapping[str, Any]) -> Self:
        """Read what `to_plain` wrote, or a preset file.

        Parameters
        ----------
        plain : mapping
            Settings under the keys users write, sections as mappings inside it.

        Returns
        -------
        Part
            The model.

        Raises
        ------
        ModelError
            If anything is wrong; the text lists all mistakes, one a line.
        """
        made, found = cls.read_plain(plain)
        if made is None:
            raise ModelError("\n".join(problem.sentence for problem in found))
        return made

    @classmethod
    def read_plain(cls, plain: Mapping[str, Any]) -> tuple[Self | None, list[Problem]]:
        """Read settings and list what is wrong instead of raising.

        Parameters
        ----------
        plain : mapping
            As for `from_plain`.

        Returns
        -------
        made : Part or None
            The model, None if there is any mistake.
        found : list of Problem
            All mistakes.
        """
        known, found = _drop_unknown(cls, plain, _place(cls))
        meant = {problem.meant for problem in found}
        try:
            made = cls.model_validate(known)
        except ValidationError as error:
            others = _problems(cls, error)
            return None, found + [problem for problem in others if problem.path not in meant]
        return (None if found else made), found

    def to_plain(self) -> dict[str, Any]:
        """Write the model down under the keys and in the units that users write.

        Returns
        -------
        dict
            Numbers, strings, None, lists and dicts: fit for JSON. A part that is not there is
            left out, for it has no settings.
        """
        there = [
            name
            for name in type(self).model_fields
            if getattr(self, name) is not None or not inner_model(type(self), name)
        ]
        return {self.key(name): self.plain(name) for name in there}

    def plain(self, attribute: str) -> Any:
        """Write one attribute down as `to_plain` does.

        Parameters
        ----------
        attribute : str
            Its name.

        Returns
        -------
        float, str, None, list or dict
            Its value in the unit that users write.
        """
        quantity, value = self.quantity(attribute), getattr(self, attribute)
        if quantity is not None and value is not None:
            return from_si(quantity, value)
        if isinstance(value, Part):
            return value.to_plain()
        if isinstance(value, tuple):
            return [part.to_plain() for part in value]
        return str(value) if isinstance(value, FilePath) else value


def mistake(wrong: str, key: str = "") -> PydanticCustomError:
    """Make the error that a validator raises.

    Parameters
    ----------
    wrong : str
        A sentence without its subject, the name of the setting, and without the full stop.
    key : str, optional
        The key to blame, where a rule joins several; a field's own validator leaves it out.

    Returns
    -------
    PydanticCustomError
        To be raised.
    """
    return PydanticCustomError("reedbore", "{wrong}", {"wrong": wrong, "key": key})


def nearest(word: str, choices: Iterable[str]) -> str | None:
    """Find what someone who wrote `word` may have meant.

    Parameters
    ----------
    word : str
        What was written.
    choices : iterable of str
        What could have been written.

    Returns
    -------
    str or None
        The first choice that begins so, else the most similar, None if none is similar.
    """
    known = list(choices)
    begun = [choice for choice in known if word and choice.startswith(word)]
    return next(iter(begun or difflib.get_close_matches(word, known, n=1)), None)


def _place(model: type[Part]) -> Path:
    return tuple(model.section.split(".")) if model.section else ()


@cache
def _may_be_none(model: type[Part], attribute: str) -> bool:
    return type(None) in get_args(model.model_fields[attribute].annotation)


@cache
def inner_model(model: type[Part], attribute: str) -> type[Part] | None:
    """Find the model that a field, or each item of a field, holds."""
    annotation = model.model_fields[attribute].annotation
    for kind in (annotation, *get_args(annotation)):
        if isinstance(kind, type) and issubclass(kind, Part):
            return kind
    return None


def unknown(key: str, value: object, path: Path, model: type[Part]) -> Problem:
    """Say that a key is unknown and what may have been meant.

    Parameters
    ----------
    key, value : str, object
        What the user wrote.
    path : tuple of str or int
        Where: keys and list positions above it.
    model : type
        The model that stands there.

    Returns
    -------
    Problem
        With one sentence, and the path of the key that was probably meant.
    """
    where, choices = (*path, key), [model.key(attribute) for attribute in model.model_fields]
    says = f"{dotted(where)} is an unknown key; "
    for attribute in model.model_fields:
        quantity, right = model.quantity(attribute), model.key(attribute)
        if hint := quantity and other_unit(right, quantity, key, value):
            return Problem(where, says + hint, (*path, right))
    if near := nearest(key, choices):
        return Problem(where, f"{says}did you mean {dotted((*path, near))}?", (*path, near))
    return Problem(where, f"{says}known: {', '.join(choices)}")


def _drop_unknown(
    model: type[Part], plain: Mapping[str, Any], path: Path
) -> tuple[dict[str, Any], list[Problem]]:
    """Part the keys a model knows from those it does not, here and below."""
    attributes = {model.key(name): name for name in model.model_fields}
    known: dict[str, Any] = {}
    found: list[Problem] = []
    for written, value in plain.items():
        key = model.renamed.get(written, written)
        if key not in attributes:
            found.append(unknown(key, value, path, model))
            continue
        inner = inner_model(model, attributes[key])
        below: list[Problem] = []
        if inner and isinstance(value, Mapping):
            known[key], below = _drop_unknown(inner, value, (*path, key))
        elif inner and isinstance(value, list):
            known[key], below = _drop_unknown_items(inner, value, (*path, key))
        else:
            known[key] = value
        found += below
    return known, found


def _drop_unknown_items(
    model: type[Part], items: list[Any], path: Path
) -> tuple[list[Any], list[Problem]]:
    known: list[Any] = []
    found: list[Problem] = []
    for number, item in enumerate(items):
        kept = item
        if isinstance(item, Mapping):
            kept, below = _drop_unknown(model, item, (*path, number))
            found += below
        known.append(kept)
    return known, found


def _problems(model: type[Part], error: ValidationError) -> list[Problem]:
    """Turn pydantic's findings into sentences under the keys users write."""
    return [_problem(model, detail) for detail in error.errors(include_url=False)]


def _problem(model: type[Part], detail: Any) -> Problem:
    path, place = list(_place(model)), model
    quantity = None
    for part in detail["loc"]:
        if isinstance(part, str) and part in place.model_fields:
            path.append(place.key(part))
            quantity, place = place.quantity(part), inner_model(place, part) or place
        elif part != "[key]":
            path.append(part)
    context = detail.get("ctx", {})
    where = tuple(path) + ((context["key"],) if context.get("key") else ())
    if detail["type"] == "extra_forbidden":
        return unknown(str(where[-1]), detail["input"], where[:-1], place)
    if detail["type"] == "missing" and quantity:
        return Problem(where, f"{dotted(where)} is missing; allowed {allowed(quantity)}")
    return Problem(where, f"{dotted(where)} {_wrong(detail, context)}")


def _wrong(detail: Any, context: Mapping[str, Any]) -> str:
    value = detail["input"]
    if "wrong" in context:
        return str(context["wrong"])
    if detail["type"] == "missing":
        return "is missing"
    if detail["type"] == "literal_error":
        return f"is {value!r}; allowed {context['expected']}"
    if detail["type"] == "string_type":
        return f"is {value!r}; it must be text in quotes"
    if detail["type"] in {"model_type", "model_attributes_type", "dict_type"}:
        return f"is {value!r}; it must be a table of settings"
    return f"is {value!r}; {detail['msg'].replace('Input', 'it')}"
