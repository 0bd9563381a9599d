"""Misuse and unreadable input: exit code 2, one line, no traceback."""

import socket
from pathlib import Path

import pytest

from whole_process import call, write_plant


def one_line(text: str) -> str:
    assert "Traceback" not in text
    assert text.count("\n") == 1, text
    return text


@pytest.mark.parametrize(
    "words",
    [
        (),
        ("fly",),
        ("run",),
        ("run", "--config", "nowhere.toml"),
        ("run", "--config", "."),
        ("token", "--role", "king", "--config", "x"),
        ("demo", "--port", "70000"),
        ("demo", "--port", "x"),
        ("simulate", "--config", "no", "--scenario", "no", "--mqtt", "mqtt://127.0.0.1:1"),
        ("analyse", "filter", "nowhere.csv"),
        ("check", "--config", "nowhere.toml"),
    ],
)
def test_misuse_is_one_line_and_exit_code_2(words: tuple[str, ...]) -> None:
    ended = call(*words)
    assert ended.returncode == 2
    one_line(ended.stderr)


def test_a_bad_plant_file_is_told_with_its_line(tmp_path: Path) -> None:
    plant = write_plant(tmp_path, None)
    text = plant.read_text("utf-8").replace('unit = "Pa"', 'unit = "parsec"')
    plant.write_text(text, "utf-8")
    ended = call("run", "--config", str(plant))
    line = text[: text.index("parsec")].count("\n") + 1
    assert ended.returncode == 2
    assert f"{line}" in one_line(ended.stderr)
    assert "parsec" in ended.stderr


def test_a_taken_port_is_told(tmp_path: Path) -> None:
    plant = write_plant(tmp_path, None)
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        ended = call("run", "--config", str(plant), "--port", port)
    assert ended.returncode == 2
    assert "--port" in one_line(ended.stderr)


def test_a_token_is_printed_once_and_opens_the_door(tmp_path: Path) -> None:
    plant = write_plant(tmp_path, None)
    ended = call("token", "--role", "welder", "--config", str(plant))
    assert ended.returncode == 0
    assert len(ended.stdout.strip()) >= 32
    assert ended.stdout.strip() not in (
        tmp_path / "steadybead-data" / "records.db"
    ).read_bytes().decode("latin-1")


def test_version_and_help_end_with_0() -> None:
    assert call("--version").stdout.startswith("steadybead ")
    for command in ("demo", "run", "collect", "serve", "simulate", "check", "token", "analyse"):
        assert call(command, "--help").returncode == 0
