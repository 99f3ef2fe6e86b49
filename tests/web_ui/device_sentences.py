"""The sentences that the device may say to a page, read from its source: a new one that has no words in a catalogue is found here.

A sentence is written as a template, its constant text with ``{}`` where a value stands.
"""

import ast
import itertools
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

HOME = Path(__file__).parents[2]
REFUSALS = {"Refused", "DeviceGone", "DeviceFault", "NoSuchThing", "Watches", "Busy", "Unpaired", "Problem", "abort"}
"""What raises, or is answered, as one line for people."""

_NO_SENTENCES = {"doc", "operation", "APIBlueprint", "Thread", "ThreadPoolExecutor"}
"""Calls whose texts describe the interface, or name a thread."""

_WORD = re.compile(r"[A-Za-z]+(?:['-][a-z]+)*")
_DEEPEST = 4
_MOST = 64


@dataclass(frozen=True)
class Said:
    """A template, where it stands, and whether it is the whole line of a refusal."""

    template: str
    where: str
    is_line: bool


def sentences(path: Path) -> Iterator[Said]:
    """Every refusal of a module, and every other text in it that has at least three words, docstrings and logs apart."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    found = _Reader(path.relative_to(HOME).as_posix(), tree)
    found.visit(tree)
    yield from found.said


def constants(path: Path) -> str:
    """All text of a module that is not code, for whoever looks for a piece of it."""
    nodes = ast.walk(ast.parse(path.read_text(encoding="utf-8")))
    return "\n".join(node.value for node in nodes if isinstance(node, ast.Constant) and isinstance(node.value, str))


class _Reader(ast.NodeVisitor):
    def __init__(self, name: str, tree: ast.Module) -> None:
        self._name = name
        self._scopes = [_assigned(tree)]
        self.said: list[Said] = []

    def visit_FunctionDef(self, node: ast.FunctionDef | ast.AsyncFunctionDef) -> None:
        self._scopes.append(_assigned(node))
        self._visit_body(node.body)
        self._scopes.pop()

    def visit_AsyncFunctionDef(self, node: ast.AsyncFunctionDef) -> None:
        self.visit_FunctionDef(node)

    def visit_ClassDef(self, node: ast.ClassDef) -> None:
        self._visit_body(node.body)

    def visit_Module(self, node: ast.Module) -> None:
        self._visit_body(node.body)

    def visit_Call(self, node: ast.Call) -> None:
        name = _called(node.func)
        if name in REFUSALS:
            self.said += [Said(line, f"{self._name}:{node.lineno}", True) for line in self._lines(name, node)]
        elif not _is_log(node.func) and not (name.endswith("Error") or name in _NO_SENTENCES):
            self.generic_visit(node)

    def visit_keyword(self, node: ast.keyword) -> None:
        if node.arg not in ("metadata", "DESCRIPTION"):
            self.visit(node.value)

    def visit_Constant(self, node: ast.Constant) -> None:
        if isinstance(node.value, str):
            self._text(node)

    def visit_JoinedStr(self, node: ast.JoinedStr) -> None:
        self._text(node)

    def _visit_body(self, body: list[ast.stmt]) -> None:
        for statement in body:
            if not (isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Constant)):
                self.visit(statement)

    def _text(self, node: ast.expr) -> None:
        for template in self._templates(node):
            if (
                len([word for word in template.replace("{}", " ").split() if _WORD.fullmatch(word.strip(".,;:()"))])
                >= 3
            ):
                self.said.append(Said(template, f"{self._name}:{node.lineno}", False))

    def _lines(self, name: str, node: ast.Call) -> Iterator[str]:
        """What, value and remedy put together as ``Refused.line`` does it; a refusal that only hands on another is left out."""
        given = dict(zip(("what", "value", "remedy"), node.args[1:] if name == "abort" else node.args, strict=False))
        given |= {keyword.arg: keyword.value for keyword in node.keywords if keyword.arg}
        parts = [self._templates(given[key]) if key in given else [""] for key in ("what", "value", "remedy")]
        for what, value, remedy in itertools.islice(itertools.product(*parts), _MOST):
            line = what + (f": {value}" if value else "") + (f"; {remedy}" if remedy else "")
            if any(letter.isalpha() for letter in line):
                yield " ".join(line.split())

    def _templates(self, node: ast.expr, deep: int = 0) -> list[str]:
        """What an expression may come to, as templates; a value that is not written in the source is a hole."""
        if deep > _DEEPEST:
            return ["{}"]
        match node:
            case ast.Constant(value):
                return [value if isinstance(value, str) else "" if value is None else str(value)]
            case ast.JoinedStr(values):
                return _joined([self._templates(one, deep) for one in values])
            case ast.FormattedValue(value, _, spec):
                percent = "%" if spec is not None and ast.unparse(spec).rstrip("'\"").endswith("%") else ""
                return [one + percent for one in self._templates(value, deep + 1)]
            case ast.BinOp(left, ast.Add(), right) if _is_text(left) or _is_text(right):
                return _joined([self._templates(left, deep), self._templates(right, deep)])
            case ast.IfExp(_, body, orelse):
                return [*self._templates(body, deep + 1), *self._templates(orelse, deep + 1)]
            case ast.BoolOp(ast.Or(), values):
                return [text for one in values for text in self._templates(one, deep + 1)]
            case ast.Name(name):
                known = next((scope[name] for scope in reversed(self._scopes) if name in scope), None)
                if known is not None:
                    return [text for one in known for text in self._templates(one, deep + 1)]
        return ["{}"]


def _joined(parts: list[list[str]]) -> list[str]:
    return ["".join(texts) for texts in itertools.islice(itertools.product(*parts), _MOST)]


def _assigned(scope: ast.AST) -> dict[str, list[ast.expr]]:
    """Names that a scope gives nothing but text, with each text."""
    found: dict[str, list[ast.expr]] = {}
    for node in (
        ast.walk(scope) if isinstance(scope, ast.FunctionDef | ast.AsyncFunctionDef) else ast.iter_child_nodes(scope)
    ):
        match node:
            case ast.Assign([ast.Name(name)], value) | ast.AnnAssign(ast.Name(name), _, ast.expr() as value):
                found.setdefault(name, []).append(value)
    return {name: values for name, values in found.items() if all(map(_is_text, values))}


def _is_text(node: ast.expr) -> bool:
    match node:
        case ast.Constant(value):
            return isinstance(value, str)
        case ast.IfExp(_, body, orelse):
            return _is_text(body) and _is_text(orelse)
        case ast.JoinedStr():
            return True
        case ast.BinOp(left, ast.Add(), right):
            return _is_text(left) and _is_text(right)
    return False


def _called(function: ast.expr) -> str:
    return (
        function.id if isinstance(function, ast.Name) else function.attr if isinstance(function, ast.Attribute) else ""
    )


def _is_log(function: ast.expr) -> bool:
    levels = ("debug", "info", "warning", "error", "exception")
    return (
        isinstance(function, ast.Attribute) and function.attr in levels and "log" in ast.unparse(function.value).lower()
    )
