"""From a page's context to its HTML."""

from collections.abc import Callable
from functools import cache, lru_cache
from typing import ClassVar, Protocol

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from steadybead_dashboards.alarm_cards import UPKEEP
from steadybead_dashboards.assets import Assets, load_assets
from steadybead_dashboards.catalogue import LANGUAGES, NAMES, SOURCE, Catalogue, translations
from steadybead_dashboards.phrasebook import comma
from steadybead_dashboards.script_words import SCRIPT_TEXTS, script_words
from steadybead_dashboards.shell import Shell

SECURITY_HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; "
        "connect-src 'self'; manifest-src 'self'; form-action 'self'; base-uri 'none'; "
        "frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cache-Control": "no-store",
}


class Page(Protocol):
    """A page's context: a frozen dataclass that names its template and carries its shell."""

    template: ClassVar[str]

    @property
    def shell(self) -> Shell:
        """Give what every page carries."""


class Renderer:
    """Renders pages with the browser files of one start, one environment a language."""

    def __init__(self, assets: Assets) -> None:
        self.assets = assets
        self._environments = {name: self._environment(name) for name in LANGUAGES}

    def render(self, page: Page) -> str:
        """Render a page in the language of its shell."""
        template = self._environments[page.shell.language].get_template(page.template)
        return template.render(page=page, shell=page.shell)

    def _environment(self, language: str) -> Environment:
        """Build the template environment: everything is escaped, a missing name is an error."""
        environment = Environment(
            loader=PackageLoader("steadybead_dashboards", "templates"),
            autoescape=True,
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
            extensions=["jinja2.ext.i18n"],
        )
        catalogue = translations(language)
        environment.install_gettext_translations(catalogue, newstyle=True)  # type: ignore[attr-defined]
        environment.globals |= dict.fromkeys(("gettext", "_"), _translate(catalogue.gettext))
        environment.filters["tr"] = catalogue.gettext  # for texts that may carry a percent sign
        environment.filters["said"] = _Said(catalogue).marked
        environment.filters["said_plain"] = _Said(catalogue).plain
        environment.filters["own"] = catalogue.own
        environment.filters["num"] = str if language == SOURCE else comma
        words = Markup(script_words(catalogue.gettext))  # noqa: S704 - our own JSON, < escaped
        environment.globals |= {
            "languages": NAMES,
            "asset": self.assets.url,
            "joined": cache(self.assets.joined),
            "script_words": words,
            "texts": SCRIPT_TEXTS,
            "upkeep": " ".join(sorted(UPKEEP)),
        }
        return environment


def _translate(gettext: Callable[[str], str]) -> Callable[..., Markup]:
    """Do what the extension's own function does, and a text without values only once."""

    @lru_cache(maxsize=4096)
    def without_values(text: str) -> Markup:
        return Markup(gettext(text)) % {}  # noqa: S704 - our catalogue

    def translate(text: str, /, **values: object) -> Markup:
        return Markup(gettext(text)) % values if values else without_values(text)  # noqa: S704

    return translate


class _Said:
    """Shows sentences that were made in English, by the diagnosis or by the server."""

    def __init__(self, catalogue: Catalogue) -> None:
        self._catalogue = catalogue

    def plain(self, text: str) -> str:
        """Give a sentence in the page's language, else as it is."""
        return self._catalogue.said(text) or text

    def marked(self, text: str) -> str:
        """Give a sentence; one that stays English says so to whoever reads it aloud."""
        said = self._catalogue.said(text)
        if said is not None or not any(c.isalpha() for c in text):
            return said or text
        return Markup('<span lang="en">{}</span>').format(text)


@cache
def renderer() -> Renderer:
    """Read the browser files once and give their renderer; AssetError if they are not in order."""
    others = [name for name in LANGUAGES if name != SOURCE]
    books = {f"phrases.{n}.js": translations(n).phrasebook.as_script() for n in others}
    return Renderer(load_assets(books))
