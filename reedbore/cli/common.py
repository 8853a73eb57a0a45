"""What the commands share: where their words go.

Results go to stdout (`say`, `say_json`), all other messages to stderr (`tell`).
"""

import json
import sys
from collections.abc import Mapping
from typing import Any


def say(text: str) -> None:
    """Print a result."""
    sys.stdout.write(f"{text}\n")


def say_json(document: Mapping[str, Any]) -> None:
    """Print a result as one JSON document, numbers that are not finite refused."""
    sys.stdout.write(json.dumps(document, ensure_ascii=False, allow_nan=False, indent=2) + "\n")


def tell(message: str) -> None:
    """Tell the user something that is not the result."""
    sys.stderr.write(f"{message}\n")
