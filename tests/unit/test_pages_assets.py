import hashlib
import re
from pathlib import Path

import pytest

from steadybead_dashboards import assets
from steadybead_dashboards.assets import AssetError, load_assets
from steadybead_dashboards.script_words import SCRIPT_TEXTS

STATIC = Path(assets.__file__).parent / "static"
SCRIPTS = sorted(STATIC.glob("*.js"))


def test_the_chart_files_are_served_byte_for_byte_as_pinned() -> None:
    loaded = load_assets()
    for name, pin in assets.CHART_FILES.items():
        assert hashlib.sha256(loaded.by_path[f"charts/{name}"].body).hexdigest() == pin


def test_another_chart_file_stops_the_start_with_a_remedy(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(assets.CHART_FILES, "uplot.min.css", "0" * 64)
    with pytest.raises(AssetError, match="not the one that was tried; install it again: pip"):
        load_assets()


def test_a_missing_chart_package_stops_the_start_with_a_remedy(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(assets, "CHART_PACKAGE", "no_such_package_here")
    with pytest.raises(AssetError, match="missing; install it again: pip"):
        load_assets()


def test_the_address_changes_with_any_content(monkeypatch: pytest.MonkeyPatch) -> None:
    before = load_assets()
    name = "another.css"
    other = assets.Asset(b"body {}", "text/css")
    ours = assets._ours

    def more(folder: object, prefix: str) -> list[tuple[str, assets.Asset]]:
        return [*ours(folder, prefix), (name, other)]  # type: ignore[arg-type]

    monkeypatch.setattr(assets, "_ours", more)
    after = load_assets()
    assert before.fingerprint != after.fingerprint
    assert before.find(after.fingerprint, "base.css") is None
    assert after.find(after.fingerprint, name) == other


@pytest.mark.parametrize("script", SCRIPTS, ids=lambda p: p.name)
def test_scripts_import_only_what_is_there(script: Path) -> None:
    text = script.read_text("utf-8")
    imports = re.findall(r'import \{([^}]+)\} from "\./([a-z]+\.js)"', text)
    assert len(imports) == text.count("import {")
    for names, module in imports:
        exported = (STATIC / module).read_text("utf-8")
        for name in names.split(","):
            pattern = rf"export (async )?(function|class|const) {name.strip()}\b"
            assert re.search(pattern, exported), f"{script.name}: {name} of {module}"


@pytest.mark.parametrize("script", SCRIPTS, ids=lambda p: p.name)
def test_scripts_speak_from_the_catalogue_and_to_nobody_else(script: Path) -> None:
    text = script.read_text("utf-8")
    for key in re.findall(r'\btext\("([a-z_]+)"', text):
        assert key in SCRIPT_TEXTS, key
    assert not re.search(r"https?://", text)
    assert not re.search(r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|\beval\b", text)


def test_no_word_for_scripts_is_idle() -> None:
    text = "".join(p.read_text("utf-8") for p in SCRIPTS)
    templates = "".join(p.read_text("utf-8") for p in (STATIC.parent / "templates").glob("*.html"))
    said_by_variable = {"live", "connecting", "lost", "good", "low", "high", "inside"}
    said_by_variable |= {"uncertain", "bad"}
    idle = [
        key
        for key in SCRIPT_TEXTS
        if f'"{key}"' not in text and key not in said_by_variable and key not in templates
    ]
    assert idle == []


@pytest.mark.parametrize("script", SCRIPTS, ids=lambda p: p.name)
def test_a_page_asks_at_once_for_all_that_its_module_imports(script: Path) -> None:
    text = script.read_text("utf-8")
    direct = set(re.findall(r'^import .*"\./([a-z-]+\.js)"', text, re.MULTILINE))
    early = load_assets().imports(script.name)
    assert len(set(early)) == len(early)
    assert direct <= set(early)
    deeper = {name for module in direct for name in load_assets().imports(module)}
    assert set(early) == direct | deeper
