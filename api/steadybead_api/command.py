"""The command line: parses words, calls the rooms, turns their errors into one line."""

import argparse
import gc
import os
import sys
from collections.abc import Callable, Sequence
from importlib.metadata import version
from pathlib import Path
from typing import NoReturn

from steadybead_api.audit_command import add_audit_command, verify_trail
from steadybead_api.backup_commands import add_backup_commands, back_up_shop, restore_shop
from steadybead_api.server_commands import add_server_commands, move_shop, prepare_servers
from steadybead_domain.errors import PlainError

DONE = 0
NO = 1
MISUSE = 2
SWITCH_S = 0.0001  # a thread that judges for long lets those in that receive and answer
ROLES = ("viewer", "welder", "maintenance", "quality", "administrator")
_FAULT = "steadybead: "


class _Parser(argparse.ArgumentParser):
    """Says what is wrong in one line and ends with exit code 2."""

    def error(self, message: str) -> NoReturn:
        self.exit(MISUSE, f"{_FAULT}{message} (see {self.prog} --help)\n")


def _port(text: str) -> int:
    number = int(text)
    if not 0 <= number <= 65535:
        raise argparse.ArgumentTypeError(f"{text}: a port is 0 (any free one) to 65535")
    return number


def _speed(text: str) -> float:
    number = float(text)
    if not 0 < number < float("inf"):
        raise argparse.ArgumentTypeError(f"{text}: a speed is a number above 0")
    return number


def _add_place(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--config", type=Path, required=True, help="the plant file")
    parser.add_argument("--data", type=Path, help="data folder (default: beside the plant file)")


def _add_server(commands: "argparse._SubParsersAction[_Parser]", name: str, text: str) -> None:
    parser = commands.add_parser(name, help=text)
    _add_place(parser)
    parser.add_argument("--host", default="127.0.0.1")
    parser.add_argument("--port", type=_port, default=8765, help="0 takes a free one")


def build_parser() -> argparse.ArgumentParser:
    """Build the parser of all commands."""
    parser = _Parser(prog="steadybead", description="Watches the air and heat of hot-gas welding.")
    parser.add_argument(
        "--version", action="version", version=f"steadybead {version('steadybead')}"
    )
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    demo = commands.add_parser("demo", help="a simulated shop, everything in one process")
    demo.add_argument("--port", type=_port, default=8765, help="0 takes a free one")
    demo.add_argument("--data", type=Path, help="keep the data here (default: a temporary folder)")
    demo.add_argument("--no-browser", action="store_true", help="only print the address")
    _add_server(commands, "run", "collector and pages in one process")
    _add_server(commands, "collect", "the collector alone")
    _add_server(commands, "serve", "the API and the pages alone")
    simulate = commands.add_parser("simulate", help="send a simulated shop to a broker")
    simulate.add_argument("--config", type=Path, required=True, help="the plant file")
    simulate.add_argument("--scenario", type=Path, required=True)
    simulate.add_argument("--mqtt", required=True, help="mqtt://host:port")
    simulate.add_argument("--seed", type=int, default=1)
    simulate.add_argument("--speed", type=_speed, default=1.0)
    simulate.add_argument("--truth", type=Path, help="write what was really so (Parquet)")
    check = commands.add_parser("check", help="listen, and say what is heard and what is not")
    check.add_argument("--config", type=Path, required=True, help="the plant file")
    check.add_argument("--seconds", type=_speed, default=15.0, help="how long to listen")
    token = commands.add_parser("token", help="make a bearer token and print it once")
    _add_place(token)
    token.add_argument("--role", choices=ROLES, required=True)
    token.add_argument("--name", default="", help="whose it is; stands beside every act")
    analyse = commands.add_parser("analyse", help="run a diagnosis on a log of your own")
    kinds = analyse.add_subparsers(dest="kind", required=True, metavar="KIND")
    loading = kinds.add_parser("filter", help="filter loading: time_s,dp_pa[,flow_l_min]")
    loading.add_argument("file", type=Path)
    loading.add_argument("--limit-pa", type=_speed)
    drifting = kinds.add_parser(
        "drift", help="sensor drift: time_s,nozzle_c[,flow_l_min,power_w,inlet_c,set_c,reference_c]"
    )
    drifting.add_argument("file", type=Path)
    _add_evidence(commands)
    add_server_commands(commands)
    add_backup_commands(commands)
    add_audit_command(commands)
    return parser


def _add_evidence(commands: "argparse._SubParsersAction[_Parser]") -> None:
    export = commands.add_parser("export", help="write the evidence file of a weld record")
    what = export.add_subparsers(dest="what", required=True, metavar="WHAT")
    weld = what.add_parser("weld", help="one signed PDF with all data inside")
    weld.add_argument("id", help="the weld record")
    weld.add_argument("-o", "--output", type=Path, required=True, metavar="FILE")
    _add_place(weld)
    verify = commands.add_parser("verify", help="check an evidence file, without the shop's data")
    verify.add_argument("file", type=Path)
    verify.add_argument("--key", type=Path, help="the public key that the shop gave you")
    verify.add_argument(
        "--root",
        type=Path,
        action="append",
        default=[],
        help="a daily root that you received from the shop; may be given again",
    )


def _demo(words: argparse.Namespace) -> int:
    from steadybead_api.demo import run_demo  # noqa: PLC0415

    return run_demo(words.port, words.data, browser=not words.no_browser)


def _server(words: argparse.Namespace) -> int:
    gc.disable()  # what is loaded stays: to look through it meanwhile takes a third of a second
    from steadybead_api.compose import run_servers  # noqa: PLC0415

    gc.freeze()
    gc.enable()

    return run_servers(
        words.config,
        words.data,
        words.host,
        words.port,
        collect=words.command != "serve",
        serve=words.command != "collect",
    )


def _simulate(words: argparse.Namespace) -> int:
    from steadybead_api.demo import run_simulation  # noqa: PLC0415

    return run_simulation(
        words.config, words.scenario, words.mqtt, words.seed, words.speed, words.truth
    )


def _check(words: argparse.Namespace) -> int:
    from steadybead_collector.check import check  # noqa: PLC0415

    return check(words.config, words.seconds)


def _token(words: argparse.Namespace) -> int:
    from steadybead_api.compose import print_token  # noqa: PLC0415

    return print_token(words.config, words.data, words.role, words.name)


def _analyse(words: argparse.Namespace) -> int:
    if words.kind == "drift":
        from steadybead_collector.analyse_drift import analyse_drift  # noqa: PLC0415

        return analyse_drift(words.file, sys.stdout)
    from steadybead_collector.analyse import analyse_filter  # noqa: PLC0415

    return analyse_filter(words.file, words.limit_pa, sys.stdout)


def _export(words: argparse.Namespace) -> int:
    from steadybead_api.evidence.command import export_weld  # noqa: PLC0415

    return export_weld(words.id, words.output, words.config, words.data)


def _verify(words: argparse.Namespace) -> int:
    from steadybead_api.evidence.command import verify_file  # noqa: PLC0415

    return verify_file(words.file, words.key, words.root)


# Each command imports its room when called: `--help` and `token` start at once.
_COMMANDS: dict[str, Callable[[argparse.Namespace], int]] = {
    "demo": _demo,
    "run": _server,
    "collect": _server,
    "serve": _server,
    "simulate": _simulate,
    "check": _check,
    "token": _token,
    "analyse": _analyse,
    "prepare": prepare_servers,
    "move": move_shop,
    "backup": back_up_shop,
    "restore": restore_shop,
    "audit": verify_trail,
    "export": _export,
    "verify": _verify,
}


def main(words: Sequence[str] | None = None) -> int:
    """Run one command; give its exit code: 0 done, 1 the answer is no, 2 misuse or bad input."""
    parsed = build_parser().parse_args(words)
    sys.setswitchinterval(SWITCH_S)
    try:
        return _COMMANDS[parsed.command](parsed)
    except KeyboardInterrupt:
        return DONE
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except PlainError as error:
        sys.stderr.write(f"{_FAULT}{error}\n")
        return MISUSE
    except OSError as error:
        place = f"{error.filename}: " if error.filename else ""
        sys.stderr.write(f"{_FAULT}{place}{error.strerror or error}\n")
        return MISUSE
