"""Sentences that were made elsewhere, in another language.

The diagnosis, the rules and the server say what they say in English, and English is what is
stored, sent and signed. Each such sentence was made from a template of the source. The
catalogue has those templates, with `{name}` where something is put in; here a finished sentence
is held to them, and put together again from the template's translation. So records of any age
can be shown in any language, and what no template fits stays English and is marked as such.

The browser does the same with the same list (`static/phrases.js`).
"""

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

SENTENCE: Final = "sentence"
DECIMAL: Final = re.compile(r"(?<![\w.])(\d+)\.(\d+)(?![\w.])")
_PLACE: Final = re.compile(r"\{(\w+)\}")
_NUMBER: Final = re.compile(r"[±+\-−<]?\s?\d+(\.\d+)?( \S{1,8})?")
_PROSE: Final = re.compile(r"[a-z]{2,}[,;]? [a-z]{2,}")
_JOINTS: Final = ("; ", ", or ", " · ", ", ", " and ")
_STOP: Final = re.compile(r"(?<=[.:]) (?=[A-Z])")
_DEEPEST: Final = 6


def comma(text: str) -> str:
    """Write decimal commas in a text of figures."""
    return DECIMAL.sub(r"\1,\2", text)


@dataclass(frozen=True, slots=True)
class _Template:
    """One template: its longest fixed piece, its pattern, its other language."""

    piece: str
    pattern: re.Pattern[str]
    text: str

    def filled(self, values: Mapping[str, str]) -> str:
        return _PLACE.sub(lambda found: values[found.group(1)], self.text)


class Phrasebook:
    """Templates of sentences, from English to one other language."""

    def __init__(self, sentences: Mapping[str, str]) -> None:
        self.sentences = dict(sentences)
        self._plain = {k: v for k, v in sentences.items() if not _PLACE.search(k)}
        made = ((k, v) for k, v in sentences.items() if _PLACE.search(k))
        ordered = sorted(made, key=lambda kv: (-len(_PLACE.sub("", kv[0])), kv[0]))
        self._templates = [_template(english, text) for english, text in ordered]
        self.translate = lru_cache(4096)(self._translated)

    def as_script(self) -> str:
        """Write the templates as a script for the browser."""
        words = json.dumps(self.sentences, ensure_ascii=False, separators=(",", ":"))
        return f"globalThis.steadybeadPhrases = {words};\n"

    def _translated(self, text: str) -> str | None:
        """Give a sentence in the other language; None where no template fits."""
        return self._said(text, 0)

    def _said(self, text: str, depth: int) -> str | None:
        if depth > _DEEPEST or not text.strip():
            return None
        known = self._plain.get(text)
        if known is not None:
            return known
        whole, sure = self._by_template(text, depth)
        if sure:
            return whole
        return self._in_parts(text, depth) or whole or self._in_other_dress(text, depth)

    def _by_template(self, text: str, depth: int) -> tuple[str | None, bool]:
        """Give the first template that fits, best one whose prose is all known (then True)."""
        fallback = None
        for template in self._templates:
            if template.piece not in text:
                continue
            found = template.pattern.fullmatch(text)
            if found is None:
                continue
            values, sure = {}, True
            for name, value in found.groupdict().items():
                said = self._value(value, depth)
                sure = sure and (said is not None or not _PROSE.search(value))
                values[name] = value if said is None else said
            if sure:
                return template.filled(values), True
            fallback = fallback or template.filled(values)
        return fallback, False

    def _value(self, value: str, depth: int) -> str | None:
        bare = value.strip(" ,;")
        if _NUMBER.fullmatch(bare):
            return comma(value)
        said = self._said(bare, depth + 1)
        return None if said is None else value.replace(bare, said, 1)

    def _in_parts(self, text: str, depth: int) -> str | None:
        """Translate a row of sentences or of clauses, if each of them is known."""
        sentences = _STOP.split(text)
        if len(sentences) > 1:
            said = [self._said(part, depth + 1) for part in sentences]
            if all(part is not None for part in said):
                return " ".join(part for part in said if part is not None)
        for joint in _JOINTS:
            parts = text.split(joint)
            if len(parts) == 1:
                continue
            said = [self._value(part, depth) for part in parts]
            if all(part is not None for part in said):
                between = self._plain.get(joint.strip(), joint.strip())
                glue = joint.replace(joint.strip(), between)
                return glue.join(part for part in said if part is not None)
        return None

    def _in_other_dress(self, text: str, depth: int) -> str | None:
        """Try it with a small first letter, or with the full stop that a headline left out."""
        small = text[:1].lower() + text[1:]
        if (
            depth < _DEEPEST
            and small != text
            and (said := self._said(small, depth + 1)) is not None
        ):
            return said[:1].upper() + said[1:]
        other = text[:-1] if text.endswith(".") else text + "."
        if depth < _DEEPEST and (said := self._said(other, _DEEPEST)) is not None:
            return said + "." if text.endswith(".") else said.rstrip(".")
        return None


def _template(english: str, text: str) -> _Template:
    pieces = _PLACE.split(english)
    fixed, names = pieces[::2], pieces[1::2]
    pattern = re.escape(fixed[0])
    for i, (name, piece) in enumerate(zip(names, fixed[1:], strict=True)):
        again = name in names[:i]
        pattern += (f"(?P={name})" if again else f"(?P<{name}>.*?)") + re.escape(piece)
    longest = max(fixed, key=len)
    return _Template(longest, re.compile(pattern, re.DOTALL), text)
