"""The command `page`: what it says of itself; the page has tests of its own."""

import json
from collections.abc import Callable
from importlib import import_module

import pytest

from reedbore.cli import main
from reedbore.page import serve

ADDRESS = "http://127.0.0.1:7463/"


@pytest.fixture(autouse=True)
def _served(monkeypatch: pytest.MonkeyPatch) -> None:
    """Serve nothing, as if it were ended as soon as it is ready."""

    def nothing(_: int | None, ready: Callable[[str], None], atlas: object = None) -> None:
        ready(ADDRESS)

    monkeypatch.setattr(serve, "serve", nothing)
    left = import_module("reedbore.cli.page")
    monkeypatch.setattr(left, "_leave", lambda: None)  # it ends the process, and the tests with it


def test_the_address_is_the_result(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["page", "--no-browser"]) == 0
    told = capsys.readouterr()
    assert told.out == f"{ADDRESS}\n"
    assert told.err.splitlines() == ["Ctrl-C ends the page", "the page is closed"]


def test_as_json_it_is_one_document(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["page", "--no-browser", "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == {"address": ADDRESS}


def test_an_atlas_that_is_none_is_refused(capsys: pytest.CaptureFixture[str], tmp_path) -> None:
    assert main(["page", "--no-browser", "--atlas", str(tmp_path / "none.zarr")]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 1
