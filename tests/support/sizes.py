"""How large functions, files and templates are."""

import ast
import statistics
from collections.abc import Iterable
from pathlib import Path


def function_lengths(source: str) -> list[int]:
    """Lines of every function in a module's text, docstring and decorators left out."""
    nodes = ast.walk(ast.parse(source))
    return [_code_lines(node) for node in nodes if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)]


def _code_lines(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    lines = function.end_lineno - function.lineno + 1
    if ast.get_docstring(function) is None:
        return lines
    docstring = function.body[0]
    return lines - (docstring.end_lineno - docstring.lineno + 1)


def line_count(path: Path) -> int:
    """Lines of a text file."""
    return len(path.read_text(encoding="utf-8").splitlines())


def share_within(lengths: Iterable[int], limit: int) -> float:
    """The share of lengths, in percent, that stay within the limit; 100 for none."""
    lengths = list(lengths)
    return 100 * sum(length <= limit for length in lengths) / len(lengths) if lengths else 100.0


def describe_sizes(root: Path) -> str:
    """One line on the program's sizes beside what the house asks for."""
    modules = sorted((root / "logbook").rglob("*.py"))
    functions = [length for module in modules for length in function_lengths(module.read_text(encoding="utf-8"))]
    files = [line_count(module) for module in modules]
    templates = [line_count(page) for page in (root / "templates").rglob("*.html")]
    return (
        f"sizes: {len(functions)} functions, median {statistics.median(functions):g} lines (8), "
        f"{share_within(functions, 35):.1f} % within 35 (95); "
        f"{len(files)} files, {share_within(files, 300):.1f} % within 300; "
        f"{len(templates)} templates, {share_within(templates, 80):.1f} % within 80"
    )
