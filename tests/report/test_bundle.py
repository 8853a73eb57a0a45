"""One script out of modules: what each of them sees, in which order, and what is refused."""

import re

import pytest

from reedbore.errors import ReedboreError
from reedbore.report.figures.maps.bundle import bundle
from reedbore.report.figures.maps.html import SCRIPT

FILES = {
    "main.js": 'import { one, two as second } from "./core/a.js";\nconsole.log(one, second());\n',
    "core/a.js": 'import { deep } from "../b.js";\nexport const one = deep;\n'
    "export function two() {\n  return 2;\n}\n",
    "b.js": "const deep = 7;\nexport { deep };\n",
    "plain.js": "export const deep = 7;\nexport async function late() {}\n"
    "export function* all() {}\n",
    "here.js": 'import { there } from "./there.js";\n',
    "there.js": 'import { here } from "./here.js";\n',
    "whole.js": 'import * as all from "./plain.js";\n',
    "later.js": "export default 3;\n",
}


def read(name: str) -> str:
    return FILES[name]


def test_a_module_comes_once_and_before_whoever_needs_it():
    script = bundle("main.js", lambda name: FILES["plain.js" if name == "b.js" else name])
    order = re.findall(r'^modules\["(.+)"\] =', script, re.MULTILINE)
    assert order == ["b.js", "core/a.js", "main.js"]
    assert 'const { one, two: second } = modules["core/a.js"];' in script
    assert "return { deep, late, all };" in script
    assert "return { one, two };" in script
    assert not re.search(r"^\s*(import|export)\b", script, re.MULTILINE)


@pytest.mark.parametrize("entry", ["main.js", "whole.js", "later.js"])
def test_another_form_of_import_or_export_is_refused(entry):
    with pytest.raises(ReedboreError, match="no form of import or export"):
        bundle(entry, read)


def test_modules_in_a_circle_are_refused():
    with pytest.raises(ReedboreError, match=r"here\.js > there\.js > here\.js"):
        bundle("here.js", read)


def test_the_map_that_stands_alone_is_drawn_by_the_modules_of_the_page():
    script = bundle(SCRIPT)
    parts = set(re.findall(r'^modules\["(.+)"\] =', script, re.MULTILINE))
    assert {"core/looks.js", "core/notes.js", "core/theme.js", "panels/map/draw.js"} < parts
    assert "fetch(" not in script
