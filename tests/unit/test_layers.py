"""The arrows between the rooms point at the domain."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PLACES = {
    "steadybead_domain": ROOT / "collector/steadybead_domain",
    "steadybead_collector": ROOT / "collector/steadybead_collector",
    "steadybead_api": ROOT / "api/steadybead_api",
    "steadybead_dashboards": ROOT / "dashboards/steadybead_dashboards",
    "steadybead_simulator": ROOT / "simulator/steadybead_simulator",
}
ALLOWED = {
    "steadybead_domain": set(),
    "steadybead_collector": {"steadybead_domain"},
    "steadybead_api": {"steadybead_domain", "steadybead_collector", "steadybead_dashboards"},
    "steadybead_dashboards": {"steadybead_domain"},
    "steadybead_simulator": {"steadybead_domain"},
}
# The command line puts the demo together: the one place where the simulator is known.
EXCEPTIONS = {
    ("steadybead_api/command.py", "steadybead_simulator"),
    ("steadybead_api/demo.py", "steadybead_simulator"),
    ("steadybead_api/demo_past.py", "steadybead_simulator"),
}
IMPURE = {
    "time",
    "random",
    "socket",
    "threading",
    "sqlite3",
    "subprocess",
    "asyncio",
    "os",
    "pathlib",
    "httpx",
    "paho",
    "sqlalchemy",
    "apsw",
    "fastapi",
}


def imported(path: Path) -> set[str]:
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            names.add(node.module.split(".")[0])
    return names


@pytest.mark.parametrize("package", sorted(PLACES))
def test_arrows_between_packages(package: str) -> None:
    modules = sorted(PLACES[package].rglob("*.py"))
    assert modules, package
    wrong = [
        f"{path.relative_to(PLACES[package].parent)} imports {name}"
        for path in modules
        for name in sorted(imported(path) & PLACES.keys() - {package} - ALLOWED[package])
        if (str(path.relative_to(PLACES[package].parent)), name) not in EXCEPTIONS
    ]
    assert wrong == []


def test_domain_has_no_io_and_no_clock() -> None:
    wrong = [
        f"{path.name} imports {name}"
        for path in sorted(PLACES["steadybead_domain"].rglob("*.py"))
        for name in sorted(imported(path) & IMPURE)
    ]
    assert wrong == []


def test_a_room_is_not_a_hall() -> None:
    long = {
        str(path.relative_to(ROOT)): rows
        for place in PLACES.values()
        for path in place.rglob("*.py")
        if (rows := len(path.read_text("utf-8").splitlines())) > 400
    }
    assert long == {}
