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
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

SENTENCE: Final = "sentence"
DECIMAL: Final = re.compile(r"(?<![\w.])(\d+)\.(\d+)(?![\w.])")
_PLACE: Final = re.compile(r"\{(\w+)\}")
_DAY: Final = re.compile(r"(\d{4})-(\d{2})-(\d{2})")
_NUMBER: Final = re.compile(r"[±+\-−<]?\s?\d+(\.\d+)?( \S{1,8})?")
_PROSE: Final = re.compile(r"[a-z]{2,}[,;]? [a-z]{2,}")
_JOINTS: Final = ("; ", ", or ", " · ", ", ", " and ")
_STOP: Final = re.compile(r"(?<=[.:]) (?=[A-Z])")
_ENOUGH: Final = 9  # letters that a template must have to stand around unknown words
_LONGEST: Final = 3000
_MOST_PARTS: Final = 12
_MOST_LOOKED_AT: Final = 500  # parts of one sentence: what nobody made is given up
# What people wrote themselves: it is put in as it is.
FREE: Final = ("author", "certificate", "kind", "nozzle", "reference_instrument", "serial")
# What a file must say letter by letter, and what a parser or a sender wrote.
VERBATIM: Final = (
    *("close", "data", "fault", "key", "names", "quantity", "section", "units", "word", "wrote"),
)
# What is a sentence or a list again; all else that is put in is a word, a name or a figure.
NESTED: Final = (
    *("causes", "checks", "day", "detail", "error", "format", "message", "named", "OUTSIDE"),
    *("owner", "reason", "remedy", "said", "says", "shifts", "spread", "state", "strips"),
    *("text", "time", "where", "why", "words", "allowed"),
)
# What has a form of its own, where a space alone would not tell the end of it.
FORMS: Final = {
    "at": r"[a-z_0-9.\[\]]+",
    "lower": "lower|higher",
    "section": (
        "(?:access|calendar|evidence|mqtt|notify|operations|procedures|site|station|store)[^:]*"
    ),
    "strand": "worst|borderline|control",
    "size": r"[+\-−]?[\d.]+(?: \S+)?",
    "warmer": "hotter|colder",
    "way": "high|low",
    "wrote": "[\"'].*?[\"']",
}


def comma(text: str) -> str:
    """Write decimal commas in a text of figures."""
    return DECIMAL.sub(r"\1,\2", text) if "." in text else text


@dataclass(frozen=True, slots=True)
class _Template:
    """One template: its fixed pieces, its pattern, its other language."""

    pieces: tuple[str, ...]
    letters: int
    pattern: re.Pattern[str]
    text: str

    def match(self, text: str) -> re.Match[str] | None:
        """Hold a text to the template; the fixed pieces are looked for first, which is cheap."""
        if not text.startswith(self.pieces[0]) or not text.endswith(self.pieces[-1]):
            return None
        place = 0
        for piece in self.pieces:
            place = text.find(piece, place)
            if place < 0:
                return None
            place += len(piece)
        return self.pattern.fullmatch(text)

    def filled(self, values: Mapping[str, str]) -> str:
        return _PLACE.sub(lambda found: values[found.group(1)], self.text)


@dataclass(frozen=True, slots=True)
class _Fit:
    """A template that fits a sentence, filled in; `sure`: all words in it are known."""

    template: _Template
    filled: str
    sure: bool


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
        book = {"sentences": self.sentences, "free": FREE, "nested": NESTED, "forms": FORMS}
        book["verbatim"] = VERBATIM
        words = json.dumps(book, ensure_ascii=False, separators=(",", ":"))
        return f"globalThis.steadybeadPhrases = {words};\n"

    def _translated(self, text: str) -> str | None:
        """Give a sentence in the other language; None where no template fits.

        Words that nobody knows may stand in it, if the template around them says enough.
        """
        if len(text) > _LONGEST:
            return None
        search = _Search(self._plain, self._templates)
        said = search.said(text)
        if said is not None:
            return said
        fits = (f for f in search.fitting(text) if f.template.letters >= _ENOUGH)
        best = next(fits, None)
        return None if best is None else best.filled


class _Search:
    """The search for one sentence; it remembers what it found out about its parts."""

    def __init__(self, plain: Mapping[str, str], templates: Sequence[_Template]) -> None:
        self._plain, self._templates = plain, templates
        self._known: dict[str, str | None] = {}

    def said(self, text: str) -> str | None:
        """Give a sentence all of whose words are known."""
        if text not in self._known:
            if len(self._known) >= _MOST_LOOKED_AT:
                return None
            self._known[text] = None  # so that nothing is looked for within itself
            self._known[text] = self._found(text)
        return self._known[text]

    def fitting(self, text: str) -> Iterator[_Fit]:
        """Give the templates that fit, the one with most fixed words first."""
        for template in self._templates:
            found = template.match(text)
            if found is None:
                continue
            values, sure = {}, True
            for name, value in found.groupdict().items():
                verbatim = name in VERBATIM
                said = None if verbatim else self._value(value, nested=name in NESTED)
                free = verbatim or name in FREE
                sure = sure and (said is not None or free or not _PROSE.search(value))
                values[name] = said if said is not None else value if free else comma(value)
            yield _Fit(template, template.filled(values), sure)

    def _found(self, text: str) -> str | None:
        known = self._plain.get(text)
        if known is not None or not text.strip():
            return known
        sure = next((f.filled for f in self.fitting(text) if f.sure), None)
        return sure or self._in_parts(text) or self._in_other_dress(text)

    def _value(self, value: str, *, nested: bool) -> str | None:
        bare = value.strip(" ,;")
        if _NUMBER.fullmatch(bare):
            return comma(value)
        if _DAY.fullmatch(bare):
            return _DAY.sub(r"\3.\2.\1", value)
        said = self.said(bare) if nested else self._plain.get(bare)
        return None if said is None else value.replace(bare, said, 1)

    def _in_parts(self, text: str) -> str | None:
        """Translate a row of sentences or of clauses, if each of them is known."""
        sentences = _STOP.split(text)
        if len(sentences) > 1:
            row = [self.said(part) for part in sentences]
            if all(part is not None for part in row):
                return " ".join(part for part in row if part is not None)
        for joint in _JOINTS:
            parts = text.split(joint)
            clauses = self._row(joint, parts) if 1 < len(parts) <= _MOST_PARTS else None
            if clauses is not None:
                word = joint.strip(" ,;·")
                glue = joint.replace(word, self._plain.get(word, word)) if word else joint
                return glue.join(clauses)
        return None

    def _row(self, joint: str, parts: Sequence[str]) -> list[str] | None:
        """Translate parts that stand between joints; a joint may also stand within a part."""
        rows: dict[int, list[str]] = {len(parts): []}
        for i in range(len(parts) - 1, -1, -1):
            for j in range(i + 1, len(parts) + 1):
                if j not in rows or (i == 0 and j == len(parts)):
                    continue
                said = self._value(joint.join(parts[i:j]), nested=True)
                if said is not None:
                    rows[i] = [said, *rows[j]]
                    break
        return rows.get(0)

    def _in_other_dress(self, text: str) -> str | None:
        """Try it with a small first letter, or with the full stop that a headline left out."""
        small = text[:1].lower() + text[1:]
        if small != text and (said := self.said(small)) is not None:
            return said[:1].upper() + said[1:]
        other = text[:-1] if text.endswith(".") else text + "."
        if (said := self.said(other)) is not None:
            return said + "." if text.endswith(".") else said.rstrip(".")
        return None


def _pattern(name: str, *, again: bool) -> str:
    return f"(?P={name})" if again else f"(?P<{name}>{FORMS.get(name, '.*?')})"


def _template(english: str, text: str) -> _Template:
    pieces = _PLACE.split(english)
    fixed, names = pieces[::2], pieces[1::2]
    pattern = re.escape(fixed[0])
    for i, (name, piece) in enumerate(zip(names, fixed[1:], strict=True)):
        again = name in names[:i]
        pattern += _pattern(name, again=again) + re.escape(piece)
    letters = sum(c.isalpha() for piece in fixed for c in piece)
    return _Template(tuple(fixed), letters, re.compile(pattern, re.DOTALL), text)
