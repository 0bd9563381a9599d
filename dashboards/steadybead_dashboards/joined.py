"""Files joined into one, so that a browser asks once for each page, not a dozen times.

Our modules keep to few forms: `import { a, b as c } from "./x.js";`, `import "./x.js";` and
`export` before a function, a class or a constant; and they await nothing at their top. So each can
become a function of its own whose result is what it exports, the imported ones first, as
ECMAScript (ECMA-262, 16.2) orders them. Anything else is refused by name. The files themselves
stay as they are written.
"""

import re
from collections.abc import Callable, Sequence

IMPORT = re.compile(r'^import (?:\{([^}]*)\} from )?"\./([^"]+)";\n', re.MULTILINE)
EXPORT = re.compile(r"^export ((?:async )?function\*?|class|const) (\w+)", re.MULTILINE)
LEFT = re.compile(r"^(?:(?:import|export)\b|(?!.*\basync\b)\w.*\bawait\b|await\b).*$", re.MULTILINE)

Source = Callable[[str], str]  # a file's text by its name


class NotJoinedError(ValueError):
    """A module that cannot be joined; the message names it and says why."""


def joined_script(entries: Sequence[str], source: Source) -> str:
    """Join modules and all that they import, each once; NotJoinedError."""
    written: dict[str, frozenset[str]] = {}
    parts: list[str] = []
    for entry in entries:
        _add(entry, source, written, parts, ())
    return "".join(parts)


def joined_sheet(names: Sequence[str], source: Source) -> str:
    """Join style sheets in their order."""
    return "\n".join(source(name) for name in names)


def _add(
    name: str,
    source: Source,
    written: dict[str, frozenset[str]],
    parts: list[str],
    above: tuple[str, ...],
) -> None:
    if name in above:
        raise NotJoinedError(f"{name} imports itself over {', '.join(above)}")
    if name in written:
        return
    text = source(name)
    for _, other in IMPORT.findall(text):
        _add(other, source, written, parts, (*above, name))

    def taken(found: re.Match[str]) -> str:
        names, other = found.groups()
        if names is None:
            return ""
        pairs = [pair.split(" as ") for pair in (p.strip() for p in names.split(",")) if pair]
        if missing := {pair[0] for pair in pairs} - written[other]:
            raise NotJoinedError(f"{name}: {other} exports no {', '.join(sorted(missing))}")
        return f"const {{ {', '.join(': '.join(pair) for pair in pairs)} }} = {_scope(other)};\n"

    given = [word for _, word in EXPORT.findall(text)]
    body = EXPORT.sub(r"\1 \2", IMPORT.sub(taken, text))
    if left := LEFT.search(body):
        raise NotJoinedError(f"{name}: this form cannot be joined: {left[0]}")
    written[name] = frozenset(given)
    end = f"return {{ {', '.join(given)} }};"
    parts.append(f"const {_scope(name)} = (() => {{\n{body.rstrip()}\n{end}\n}})();\n")


def _scope(name: str) -> str:
    """Name the constant that holds a module's exports; no module of ours uses a name like it."""
    return "$" + re.sub(r"\W", "_", name.removesuffix(".js"))
