"""Reads the sentences of a module from its source: constants and f-strings that people see."""

import ast
import re
from collections.abc import Collection, Iterator
from typing import Final

_WORDS: Final = re.compile(r"[A-Za-z°%]{2,}[^A-Za-z]* [^A-Za-z]*[A-Za-z°%{]{2,}")
_FIXED: Final = re.compile(r"\{\w+(?::[^}]*)?\}")
_QUIET: Final = frozenset(
    {"summary", "description", "response_description", "help", "media_type", "pattern", "tags"}
)
_LOGS: Final = frozenset({"_log", "log", "logger", "logging", "re"})
_PLAIN_CALLS: Final = frozenset({"Query", "Path", "Header", "Field", "Body", "text"})


def sentences_of(source: str) -> Iterator[str]:
    """Give the templates of a module, in order; `{name}` stands for what is put in."""
    yield from dict.fromkeys(t for t in _Reader().read(ast.parse(source)) if _is_sentence(t))


def _is_sentence(text: str) -> bool:
    fixed = _FIXED.sub("{xx}", text)
    return bool(_WORDS.search(fixed)) and bool(re.search(r"[a-z]{2,}", _FIXED.sub("", text)))


class _Reader:
    """Walks a tree and leaves aside what nobody sees: docstrings, logs, comparisons, schemas."""

    def read(self, node: ast.AST) -> Iterator[str]:
        if isinstance(node, ast.JoinedStr):
            yield template(node)
            yield from self._inside(node)
        elif isinstance(node, ast.Constant):
            if isinstance(node.value, str):
                yield _named(node.value)
        elif not self._is_quiet(node):
            for child in self._children(node):
                yield from self.read(child)

    def _inside(self, node: ast.JoinedStr) -> Iterator[str]:
        for part in node.values:
            if isinstance(part, ast.FormattedValue):
                yield from self.read(part.value)

    def _children(self, node: ast.AST) -> Iterator[ast.AST]:
        for name, value in ast.iter_fields(node):
            if name in {"decorator_list", "annotation", "returns", "slice", "format_spec"}:
                continue
            for child in value if isinstance(value, list) else [value]:
                if isinstance(child, ast.AST):
                    yield child

    def _is_quiet(self, node: ast.AST) -> bool:
        if isinstance(node, ast.Expr):
            return isinstance(node.value, ast.Constant)
        if isinstance(node, ast.keyword):
            return node.arg in _QUIET
        if isinstance(node, ast.Compare):
            return True
        if isinstance(node, ast.Call):
            owner = node.func.value if isinstance(node.func, ast.Attribute) else node.func
            name = owner.id if isinstance(owner, ast.Name) else ""
            return name in _LOGS or name in _PLAIN_CALLS
        return False


def template(node: ast.JoinedStr) -> str:
    """Give an f-string with a name for each thing that is put in; the same thing, the same name."""
    names: dict[str, str] = {}
    parts = []
    for part in node.values:
        if isinstance(part, ast.Constant):
            parts.append(str(part.value))
        elif isinstance(part, ast.FormattedValue):
            said = ast.unparse(part.value)
            if said not in names:
                names[said] = _fresh(_name(part.value), names.values())
            parts.append(f"{{{names[said]}}}")
    return _bare("".join(parts))


def _named(text: str) -> str:
    """Leave out the formats of a text that is filled in later: `{size:.0f}` becomes `{size}`."""
    return _bare(re.sub(r"\{(\w+):[^}]*\}", r"{\1}", text))


def _bare(text: str) -> str:
    """Leave out what only joins a piece to the next one."""
    return text.strip(" ;,\n")


def _fresh(name: str, taken: Collection[str]) -> str:
    numbered = (f"{name}{n}" for n in range(2, 99))
    return name if name not in taken else next(n for n in numbered if n not in taken)


def _name(node: ast.expr) -> str:
    """Name an expression by what it is about."""
    if isinstance(node, ast.Name):
        return node.id.strip("_")
    if isinstance(node, ast.Attribute):
        return _name(node.value) if node.attr in {"value", "name"} else node.attr.strip("_")
    if isinstance(node, ast.Call):
        inner = node.args[0] if node.args else node.func
        return _name(inner)
    if isinstance(node, ast.Subscript):
        return _name(node.value)
    if isinstance(node, ast.BinOp):
        left = _name(node.left)
        return left if left != "x" else _name(node.right)
    return "x"
