"""Errors are told apart by their code and their parameter; a door adds its own knob for that.

So no text of an error names a knob, and nobody looks for words in one.
"""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

import zoneplan
from zoneplan.cli.plan import plan
from zoneplan.cli.tell import advised
from zoneplan.errors import LayerError, ZoneplanError
from zoneplan.pages.fault import advice, fault
from zoneplan.sources import ask_of

HOME = Path(zoneplan.__file__).parent
DOORS = ("cli", "pages")
# These speak of the command line: what a request is asked by there, and how the app is started.
OF_THE_COMMAND_LINE = ("request.py", "sources.py", "address.py")
OPTION = re.compile(r"(?<![\w-])--[a-z]+(?:-[a-z]+)*")
SEARCHES = {"replace", "startswith", "endswith", "find", "index", "count", "split", "partition"}
SEARCHES |= {"search", "match", "fullmatch", "sub", "removeprefix", "removesuffix"}


def modules(*, doors: bool) -> list[Path]:
    return [
        path
        for path in sorted(HOME.rglob("*.py"))
        if (path.relative_to(HOME).parts[0] in DOORS) == doors
        and path.name not in OF_THE_COMMAND_LINE
    ]


def options_told(source: str) -> list[str]:
    """The options that the texts of a module name, but for what explains it to its readers."""
    tree = ast.parse(source)
    values = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    return [
        result
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in values
        for result in OPTION.findall(node.value)
    ]


def searched(source: str) -> Iterator[int]:
    """The lines of a module where the text of an error that was caught is searched."""
    for handler in ast.walk(ast.parse(source)):
        if not isinstance(handler, ast.ExceptHandler) or handler.name is None:
            continue
        for node in ast.walk(handler):
            if isinstance(node, ast.Compare):
                looks = any(isinstance(how, ast.In | ast.NotIn | ast.Eq) for how in node.ops)
                parts = [node.left, *node.comparators]
            elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
                looks, parts = node.func.attr in SEARCHES, [node.func.value, *node.args]
            else:
                continue
            if looks and any(_is_text(part, handler.name) for part in parts):
                yield node.lineno


def _is_text(part: ast.AST, error: str) -> bool:
    """Whether this is the text of an error: str(error), f"{error}" or error.args."""
    for node in ast.walk(part):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "str":
            return any(isinstance(arg, ast.Name) and arg.id == error for arg in node.args)
        if isinstance(node, ast.FormattedValue) and isinstance(node.value, ast.Name):
            return node.value.id == error
        if isinstance(node, ast.Attribute) and node.attr == "args":
            return isinstance(node.value, ast.Name) and node.value.id == error
    return False


@pytest.mark.parametrize("path", modules(doors=False), ids=lambda each: str(each.relative_to(HOME)))
def test_no_text_below_the_doors_names_an_option(path: Path) -> None:
    assert options_told(path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize("path", modules(doors=True), ids=lambda each: str(each.relative_to(HOME)))
def test_no_door_searches_the_text_of_an_error(path: Path) -> None:
    assert list(searched(path.read_text(encoding="utf-8"))) == []


def test_the_checks_find_what_they_look_for() -> None:
    assert options_told('"""Of --this."""\nraise E(f"{x}: say --layer-crs EPSG:4326")') == [
        "--layer-crs"
    ]
    caught = "try:\n    f()\nexcept E as error:\n    "
    for line in ('"a" in str(error)', 'str(error).replace("a", "b")', 're.search("a", f"{error}")'):
        assert list(searched(caught + line)) == [4]
    assert list(searched(caught + '"crs" in error.parameters')) == []


def parameters() -> set[str]:
    """Every parameter that an error names, with a part where it is one of several."""
    values: set[str] = set()
    for path in modules(doors=False):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.keyword) and node.arg == "parameter":
                for part in ast.walk(node.value):
                    if isinstance(part, ast.Constant) and isinstance(part.value, str):
                        values.add("columns.sand" if part.value == "columns." else part.value)
    return values - {"conductivity", "texture", "sand", "silt", "clay"}


def test_every_parameter_that_an_error_names_has_a_knob_at_each_door() -> None:
    options = {name for param in plan.params for name in param.opts}
    result = parameters()
    assert {"crs", "pick", "raster_unit", "bands", "columns.sand", "columns.x"} <= result
    for parameter in result:
        ask, key = ask_of(parameter)
        assert ask.option.format(key) in options
        assert advice(ZoneplanError("", parameter=parameter))


def test_each_door_names_its_own_knob() -> None:
    error = LayerError("It has no system.", parameter="crs", example="EPSG:32615")
    assert advised(error) == "It has no system.\nSay it with --layer-crs EPSG:32615"
    assert "Say it in “Coordinate system”: EPSG:32615" in fault(error)
    both = LayerError("No places.", parameter=("columns.x", "columns.y"))
    assert advised(both) == "No places.\nSay it with --x-column and --y-column"
    assert "Say it in “X column” and “Y column”." in fault(both)


def test_an_example_of_several_parts_is_told_as_it_is() -> None:
    error = LayerError("Which band?", parameter="bands", example="clay=FILE:NUMBER")
    assert advised(error).endswith("--band clay=FILE:NUMBER")
    assert "Say it in “Raster bands”: clay=FILE:NUMBER" in fault(error)


def test_an_error_without_a_knob_is_told_as_it_is() -> None:
    assert advised(LayerError("It is damaged.")) == "It is damaged."
    assert advice(LayerError("It is damaged.")) == ""
