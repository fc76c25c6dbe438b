"""A module of the program with one thing in its text altered: what tests that guard it must notice."""

import ast
import copy
import importlib.util
import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

_SWAPS: dict[type[ast.AST], type[ast.AST]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Add: ast.Sub, ast.Sub: ast.Add,
    ast.Mult: ast.Div, ast.Div: ast.Mult, ast.FloorDiv: ast.Div, ast.Mod: ast.Mult, ast.Pow: ast.Mult,
    ast.And: ast.Or, ast.Or: ast.And, ast.BitAnd: ast.BitOr,
}  # fmt: skip
_WORDS = (ast.JoinedStr, ast.Raise, ast.arg)
"""What is said to people, and types: nothing there is altered."""
_BRANCHING = (ast.If, ast.IfExp, ast.While)
_PLAIN = (ast.Name, ast.Attribute, ast.Call, ast.NamedExpr)
"""A condition that has no sign of its own to swap: it is turned round as a whole."""


@dataclass(frozen=True)
class Place:
    """One thing that can be altered: the how-manieth of its module, its line, and what becomes of it.

    ``where`` names it by the text of its line, which stays when other lines come and go.
    """

    module: str
    number: int
    line: int
    words: str
    where: tuple[str, str, str]


def places(module: str) -> list[Place]:
    """Everything in a module's text that can be altered."""
    found, lines = [], _path(module).read_text().splitlines()
    name = module.rpartition(".")[2]
    for number, (node, at) in enumerate(list(_sites(ast.parse("\n".join(lines))))):
        line, became = getattr(node, "lineno", 1), _altered(copy.deepcopy(node), at)
        where = (name, lines[line - 1].strip(), became)
        found.append(Place(module, number, line, f"{name}:{line} {became}", where))
    return found


def install(place: Place) -> None:
    """Put the altered module in the place of the real one, for whoever imports it from now on."""
    path = _path(place.module)
    tree = ast.parse(path.read_text())
    for number, (node, at) in enumerate(list(_sites(tree))):
        if number == place.number:
            _altered(node, at)
    spec = importlib.util.find_spec(place.module)
    assert spec is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[place.module] = module
    exec(compile(ast.fix_missing_locations(tree), path, "exec"), module.__dict__)
    parent, _, name = place.module.rpartition(".")
    setattr(sys.modules[parent], name, module)


def _path(module: str) -> Path:
    return Path(__file__).resolve().parents[2] / f"{module.replace('.', '/')}.py"


def _sites(node: ast.AST) -> Iterator[tuple[ast.AST, int]]:
    """Nodes that can be altered, in the order of the text, once for each way of altering them."""
    if isinstance(node, _WORDS):
        return
    yield from ((node, at) for at in _ways(node))
    for child in _within(node):
        yield from _sites(child)


def _within(node: ast.AST) -> Iterable[ast.AST]:
    """What lies in a node, without types, decorators and the columns of tables: those declare, they do not reckon."""
    if isinstance(node, ast.AnnAssign):
        return [] if node.value is None or isinstance(node.value, ast.Call) else [node.value]
    decorators = getattr(node, "decorator_list", [])
    return [child for child in ast.iter_child_nodes(node) if child not in decorators]


def _ways(node: ast.AST) -> Iterable[int]:
    """Of a comparison each of its signs, of a whole number one more and one less, of anything else one way."""
    if isinstance(node, ast.Compare):
        return [at for at, sign in enumerate(node.ops) if type(sign) in _SWAPS]
    if isinstance(node, ast.Constant) and isinstance(node.value, int | float):
        return (1, -1) if type(node.value) is int else (1,)
    if isinstance(node, ast.Return):
        return range(0 if node.value is None or isinstance(node.value, ast.Constant) else 1)
    if isinstance(node, _BRANCHING):
        return range(isinstance(node.test, _PLAIN))
    if isinstance(node, ast.UnaryOp):
        return range(isinstance(node.op, ast.Not | ast.USub))
    return range(isinstance(node, ast.BinOp | ast.BoolOp) and type(node.op) in _SWAPS)


def _altered(node: ast.AST, at: int) -> str:
    """Alter a node; what was done."""
    if isinstance(node, ast.Constant):
        was = node.value
        node.value = (not was) if isinstance(was, bool) else was + at  # type: ignore[operator]
        return f"{was} → {node.value}"
    if isinstance(node, ast.Return):
        node.value = ast.Constant(None)
        return "returns nothing"
    if isinstance(node, _BRANCHING):
        node.test = ast.UnaryOp(ast.Not(), node.test)
        return "condition turned round"
    if isinstance(node, ast.UnaryOp):
        was, node.op = node.op, ast.UAdd() if isinstance(node.op, ast.USub) else ast.Not()
        if isinstance(was, ast.Not):
            node.operand = ast.UnaryOp(ast.Not(), node.operand)
        return f"without {type(was).__name__}"
    return _swapped(node, at)


def _swapped(node: ast.AST, at: int) -> str:
    if isinstance(node, ast.Compare):
        was, node.ops[at] = node.ops[at], _SWAPS[type(node.ops[at])]()  # type: ignore[assignment]
        return f"{type(was).__name__} → {type(node.ops[at]).__name__}"
    assert isinstance(node, ast.BinOp | ast.BoolOp)
    was = node.op
    node.op = _SWAPS[type(was)]()  # type: ignore[assignment]
    return f"{type(was).__name__} → {type(node.op).__name__}"
