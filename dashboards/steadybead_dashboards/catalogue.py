"""The one place where the words of the pages become a person's language."""

import gettext
from collections.abc import Iterable, Mapping
from functools import cache
from importlib.resources import files

from steadybead_dashboards.phrasebook import SENTENCE, Phrasebook
from steadybead_dashboards.po_file import Message, read_po

LANGUAGES = ("en", "de")
NAMES = {"en": "English", "de": "Deutsch"}
SOURCE = "en"


class Catalogue(gettext.NullTranslations):
    """The words of one language; what it does not have stays English.

    Two plural forms, as in English and German: one, and any other number.
    """

    def __init__(self, language: str, messages: Iterable[Message]) -> None:
        super().__init__()
        found = tuple(messages)
        self.language = language
        self._texts = {m.msgid: m.texts for m in found if m.context != SENTENCE and all(m.texts)}
        sentences = {m.msgid: m.texts[0] for m in found if m.context == SENTENCE and all(m.texts)}
        self.phrasebook = Phrasebook(sentences)

    def gettext(self, message: str) -> str:
        """Give a text in this language."""
        return self._texts.get(message, (message,))[0]

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        """Give the text for a number of things."""
        one, many = self._texts.get(msgid1, (msgid1, msgid2))
        return one if n == 1 else many

    def said(self, text: str) -> str | None:
        """Give a sentence that the diagnosis, a rule or the server made; None if not known."""
        return text if self.language == SOURCE else self.phrasebook.translate(text)

    def own(self, text: str) -> str:
        """Give the words of a record in this language where the product itself wrote them."""
        return self.phrasebook.sentences.get(text, text)


@cache
def translations(language: str) -> Catalogue:
    """Give the catalogue of a language; English is the language of the source."""
    if language not in LANGUAGES:
        raise ValueError(f"language {language!r}: the pages speak {', '.join(LANGUAGES)}")
    if language == SOURCE:
        return Catalogue(language, ())
    _, messages = read_po(catalogue_text(language))
    return Catalogue(language, messages)


def catalogue_text(language: str) -> str:
    """Read the PO file of a language."""
    place = files("steadybead_dashboards") / "locale" / language / "LC_MESSAGES" / "steadybead.po"
    return place.read_text("utf-8")


def chosen_language(cookie: str | None, accepted: str) -> str:
    """Pick a language: what the person chose, else what the browser asks for (RFC 9110, 12.5.4)."""
    if cookie in LANGUAGES:
        return cookie
    weights: Mapping[str, float] = _asked(accepted)
    best = max(LANGUAGES, key=lambda name: weights.get(name, 0.0))
    return best if weights.get(best, 0.0) > 0.0 else SOURCE


def _asked(accepted: str) -> dict[str, float]:
    """Give the weight of each language that is asked for, by its first part; `*` is English."""
    weights: dict[str, float] = {}
    for part in accepted[:500].split(","):
        name, _, rest = part.strip().partition(";")
        weight = 1.0
        if rest.strip().startswith("q="):
            try:
                weight = float(rest.strip()[2:])
            except ValueError:
                continue
        short = SOURCE if name == "*" else name.split("-")[0].lower()
        weights[short] = max(weights.get(short, 0.0), weight)
    return weights


def mark(text: str) -> str:
    """Mark a text for the catalogue where it stands in a table; it is translated when shown."""
    return text
