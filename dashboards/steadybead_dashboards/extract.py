"""Finds every text that people see in the source, and brings the catalogues up to date.

    python -m steadybead_dashboards.extract          # `make texts`
    python -m steadybead_dashboards.extract --check  # exit 1 if a catalogue is not up to date

Four kinds: what templates give to `_()` and `ngettext()`; what Python tables give to `mark()`;
the sentences of the diagnosis, the rules and the server, which are shown by `said`; and the
words of the procedures that a new shop begins with. The sentences are read from the source as
it stands, a constant or an f-string with `{name}` for what is put in, so that their modules need
to know nothing of languages.
"""

import ast
import re
import sys
import tomllib
from collections.abc import Iterable, Iterator
from dataclasses import replace
from importlib.util import find_spec
from pathlib import Path
from typing import Final

from jinja2 import Environment, nodes
from jinja2.ext import GETTEXT_FUNCTIONS

from steadybead_dashboards.catalogue import LANGUAGES, SOURCE, catalogue_text
from steadybead_dashboards.phrasebook import SENTENCE
from steadybead_dashboards.po_file import Message, read_po, write_po
from steadybead_dashboards.sentence_sources import NOT_SHOWN, SOURCES, WORDS
from steadybead_dashboards.sentences import sentences_of

PACKAGES: Final = ("steadybead_domain", "steadybead_collector", "steadybead_api")
OWN: Final = "steadybead_dashboards"
START_SET: Final = "records/procedures.toml"


def folder_of(package: str) -> Path:
    """Find where a package lies, without loading it."""
    spec = find_spec(package)
    if spec is None or not spec.submodule_search_locations:
        raise ModuleNotFoundError(f"{package} is not installed: run pip install -e .")
    return Path(spec.submodule_search_locations[0])


def all_messages() -> tuple[Message, ...]:
    """Give all messages of the source, by kind and text, each with the files it stands in."""
    found: dict[tuple[str, str], Message] = {}
    for message in (*_of_templates(), *_of_marks(), *_of_sentences()):
        before = found.get(message.key, replace(message, places=()))
        places = tuple(sorted({*before.places, *message.places}))
        found[message.key] = replace(message, plural=before.plural or message.plural, places=places)
    return tuple(found[key] for key in sorted(found))


def updated(text: str) -> str:
    """Bring a catalogue up to date: keep what is translated, add what is new, drop what is gone."""
    head, known = read_po(text)
    texts = {m.key: m for m in known if not m.obsolete}
    return write_po(
        head,
        (
            replace(m, texts=old.texts, fuzzy=old.fuzzy) if (old := texts.get(m.key)) else m
            for m in all_messages()
        ),
    )


def _of_templates() -> Iterator[Message]:
    environment = Environment(extensions=["jinja2.ext.i18n"], autoescape=True)
    for path in sorted((folder_of(OWN) / "templates").glob("*.html")):
        tree = environment.parse(path.read_text("utf-8"))
        for call in tree.find_all(nodes.Call):
            if not isinstance(call.node, nodes.Name) or call.node.name not in GETTEXT_FUNCTIONS:
                continue
            said = [a.value for a in call.args if isinstance(a, nodes.Const)]
            if not said:
                raise ValueError(f"{path.name}, line {call.lineno}: no constant text to translate")
            plural = said[1] if call.node.name == "ngettext" else ""
            yield Message(said[0], plural=plural, places=(f"{OWN}/templates/{path.name}",))


def _of_marks() -> Iterator[Message]:
    for package in (OWN, *PACKAGES):
        for path in _modules(package):
            for node in ast.walk(ast.parse(path.read_text("utf-8"))):
                if isinstance(node, ast.Call) and _is_mark(node.func):
                    yield Message(ast.literal_eval(node.args[0]), places=(_place(package, path),))


def _is_mark(function: ast.expr) -> bool:
    return isinstance(function, ast.Name) and function.id == "mark"


def _of_sentences() -> Iterator[Message]:
    for package, names in SOURCES.items():
        folder = folder_of(package)
        for path in _chosen(folder, names):
            for text in sentences_of(path.read_text("utf-8")):
                if text in NOT_SHOWN:
                    continue
                yield Message(text, context=SENTENCE, places=(_place(package, path),))
    for word in WORDS:
        yield Message(word, context=SENTENCE)
    yield from _of_start_set()


def _of_start_set() -> Iterator[Message]:
    """Give the words of the procedures that a new shop begins with."""
    path = folder_of("steadybead_collector") / START_SET
    place = (f"steadybead_collector/{START_SET}",)
    tables = tomllib.loads(path.read_text("utf-8")).values()
    for table in (part for t in tables for part in (t, t.get("provenance", {}))):
        for text in table.values():
            if isinstance(text, str) and re.search("[a-z]{3}", text):
                yield Message(text, context=SENTENCE, places=place)


def _chosen(folder: Path, names: Iterable[str]) -> Iterator[Path]:
    for name in names:
        paths = sorted(folder.glob(name))
        if not paths:
            raise ValueError(f"{folder.name}: no module fits {name}")
        yield from paths


def _modules(package: str) -> list[Path]:
    return sorted(folder_of(package).rglob("*.py"))


def _place(package: str, path: Path) -> str:
    return f"{package}/{path.relative_to(folder_of(package)).as_posix()}"


def main(arguments: list[str]) -> int:
    """Bring all catalogues up to date, or tell whether they are."""
    worst = 0
    for language in LANGUAGES:
        if language == SOURCE:
            continue
        text = catalogue_text(language)
        fresh = updated(text)
        _, messages = read_po(fresh)
        missing = [m for m in messages if not m.texts or not all(m.texts) or m.fuzzy]
        stale = fresh != text
        if "--check" not in arguments and stale:
            place = folder_of(OWN) / "locale" / language / "LC_MESSAGES" / "steadybead.po"
            place.write_text(fresh, "utf-8")
        sys.stdout.write(f"{language}: {len(messages)} texts, {len(missing)} not translated\n")
        sys.stdout.writelines(f"  {m.msgid}\n" for m in missing[:20])
        worst = max(worst, int(stale and "--check" in arguments), int(bool(missing)))
    return worst


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
