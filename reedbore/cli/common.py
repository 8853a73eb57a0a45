"""What the commands share: where their words go, and how settings are typed.

Results go to stdout (`say`, `say_json`), all other messages to stderr (`tell`).
"""

import json
import sys
from collections.abc import Mapping
from typing import Any

from reedbore.errors import ModelError


def say(text: str) -> None:
    """Print a result."""
    sys.stdout.write(f"{text}\n")


def say_json(document: Mapping[str, Any]) -> None:
    """Print a result as one JSON document, numbers that are not finite refused."""
    sys.stdout.write(json.dumps(document, ensure_ascii=False, allow_nan=False, indent=2) + "\n")


def tell(message: str) -> None:
    """Tell the user something that is not the result."""
    sys.stderr.write(f"{message}\n")


def parse_setting(text: str) -> tuple[str, float | str]:
    """Read what follows ``--set``.

    Parameters
    ----------
    text : str
        ``reed.opening_mm=1.2`` or ``reed.dynamics=massless``.

    Returns
    -------
    name : str
        The setting; whether there is one is for `reedbore.model` to say.
    value : float or str
        Its value, in the unit that users write; text if it is no number.

    Raises
    ------
    ModelError
        If there is no equals sign with something on both sides.
    """
    name, _, value = (part.strip() for part in text.partition("="))
    if not name or not value:
        raise ModelError(f"--set {text!r}: write NAME=VALUE, as in --set reed.opening_mm=1.2")
    try:
        return name, float(value)
    except ValueError:
        return name, value
