"""What a compiled loop borrows is its caller's: an array made in the function would be given back at once, and written to after."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

import shared

SOURCES = sorted(Path(shared.__file__).parent.rglob("*.py"))


def not_the_callers(source: str) -> Iterator[str]:
    for function in ast.walk(ast.parse(source)):
        if not isinstance(function, ast.FunctionDef):
            continue
        lent = {argument.arg for argument in (*function.args.args, *function.args.kwonlyargs)}
        for call in ast.walk(function):
            if isinstance(call, ast.Call) and isinstance(call.func, ast.Name) and call.func.id == "borrowed":
                owner = call.args[0]
                while isinstance(owner, ast.Attribute | ast.Subscript):
                    owner = owner.value
                if not (isinstance(owner, ast.Name) and owner.id in lent):
                    yield f"{function.name}, line {call.lineno}: {ast.unparse(call)}"


def test_only_arguments_are_borrowed() -> None:
    borrowing = [path for path in SOURCES if "borrowed(" in path.read_text()]
    assert len(borrowing) > 4
    assert {path.name: list(not_the_callers(path.read_text())) for path in borrowing} == {
        path.name: [] for path in borrowing
    }


@pytest.mark.parametrize("owner", ["np.empty(4)", "room", "room[:2]"])
def test_what_is_made_inside_is_found(owner: str) -> None:
    assert list(not_the_callers(f"def loop(sums):\n    room = np.empty(4)\n    line = borrowed({owner})"))
