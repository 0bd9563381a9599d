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
def test_a_script_comes_joined_with_all_that_it_imports(script: Path) -> None:
    loaded = load_assets()
    address = loaded.joined(script.name)
    assert address == f"/static/{loaded.fingerprint}/joined/{script.name}"
    found = loaded.find(loaded.fingerprint, f"joined/{script.name}")
    assert found is not None
    text = found.body.decode()
    assert not re.search(r"^(import|export)\b", text, re.MULTILINE)
    direct = re.findall(r'^import .*"\./([a-z-]+)\.js"', script.read_text("utf-8"), re.MULTILINE)
    for name in [script.stem, *direct]:
        assert text.count(f"const ${name.replace('-', '_')} = (() => {{") == 1


def test_no_name_of_a_script_is_that_of_a_joined_module() -> None:
    scopes = {f"${path.stem.replace('-', '_')}" for path in SCRIPTS}
    for path in SCRIPTS:
        assert not scopes & set(re.findall(r"\$\w+", path.read_text("utf-8")))


def test_sheets_come_joined_in_their_order() -> None:
    loaded = load_assets()
    found = loaded.find(loaded.fingerprint, "joined/wall+base.css")
    assert found is not None
    whole = [loaded.by_path[name].body.decode() for name in ("wall.css", "base.css")]
    assert found.body.decode() == "\n".join(whole)
    assert found.media_type.startswith("text/css")


@pytest.mark.parametrize(
    "path",
    [
        "joined/",
        "joined/none.css",
        "joined/base.css+parts.css",
        "joined/base+base.css",
        "joined/base+tile.css",
        "joined/charts/uplot.min.css",
        "joined/phrases.de.js",
        "joined/../base.css",
        "joined/wall+base+parts+alarm+setup+people+records.css",
    ],
)
def test_only_few_files_of_ours_are_joined(path: str) -> None:
    loaded = load_assets({"phrases.de.js": ""})
    assert loaded.find(loaded.fingerprint, path) is None
    with pytest.raises(KeyError):
        loaded.url(path)
