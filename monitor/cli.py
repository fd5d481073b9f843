"""The command line: `sorbwatch ...`."""

import argparse
import logging
import re
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NoReturn

from monitor import __version__
from monitor.commands.common import DONE, FINDING, USAGE, Command
from monitor.errors import BadInputError, BadSettingsError, MonitorError
from monitor.model.audit import AuditHead
from monitor.settings import Settings, load_settings


class _Parser(argparse.ArgumentParser):
    """Errors are one line that says what is wrong and where help stands."""

    def error(self, message: str) -> NoReturn:
        self.exit(USAGE, f"{self.prog}: {message}; see '{self.prog} --help'\n")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns its exit code."""
    options = _parser().parse_args(arguments)
    logging.basicConfig(
        level=logging.DEBUG if options.verbose else logging.INFO,
        format="%(asctime)s %(levelname)s %(name)s %(message)s",
        stream=sys.stderr,
    )
    try:
        settings = _settings(options)
        act: Command = options.act
        return act(options, settings)
    except BrokenPipeError:  # the reader of our output went away, as `head` does
        sys.stderr.close()
        return DONE
    except (BadInputError, BadSettingsError) as error:
        return _say(error, USAGE)
    except MonitorError as error:
        return _say(error, FINDING)
    except OSError as error:
        return _say(error, FINDING)
    except KeyboardInterrupt:
        return DONE


def _say(error: Exception, code: int) -> int:
    text = " ".join(str(error).split())
    print(f"sorbwatch: {text}", file=sys.stderr)
    return code


def _settings(options: argparse.Namespace) -> Settings:
    settings = load_settings(Path(options.settings) if options.settings else None)
    return settings.with_database(options.database) if options.database else settings


def _parser() -> argparse.ArgumentParser:
    common = _Parser(add_help=False)
    common.add_argument("--database", metavar="URL", help="sqlite:///relative or sqlite:////absolute path")
    common.add_argument("--settings", metavar="FILE", help="settings file (TOML)")
    common.add_argument("--verbose", action="store_true", help="say more in the log")
    parser = _Parser(prog="sorbwatch", description="Watches the water in 3D-printing filament.")
    parser.add_argument("--version", action="version", version=f"sorbwatch {__version__}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True, parser_class=_Parser)

    def add(name: str, act: Command, text: str) -> argparse.ArgumentParser:
        command = commands.add_parser(name, help=text, description=text, parents=[common])
        command.set_defaults(act=act)
        return command

    _add_services(add)
    _add_records(add)
    _add_questions(add)
    _add_advice(add)
    _add_plan(add)
    return parser


_Add = Callable[..., argparse.ArgumentParser]


def _add_services(add: _Add) -> None:
    from monitor.commands import services as run

    demo = add("demo", run.demo, "a simulated site over a real broker, with its pages; nothing to configure")
    demo.add_argument(
        "--listen", metavar="ADDRESS", help="show the pages on this address; changing needs sign-in"
    )
    demo.add_argument("--port", type=_port, default=None, help="port of the pages (8484)")
    demo.add_argument("--speed", type=_speed, default=1.0, help="simulated seconds per second (1)")
    demo.add_argument("--seed", type=int, default=7, help="another number gives another site history (7)")
    demo.add_argument("--days", type=_days, default=30, help="days of history made at start (30)")
    serve = add("serve", run.serve, "the service for a real site")
    serve.add_argument(
        "--listen", metavar="ADDRESS", help="show the pages on this address; changing needs sign-in"
    )
    serve.add_argument("--port", type=_port, default=None, help="port of the pages (8484)")
    add("node", run.node, "publish the SHT4x sensors on this board's I2C bus")
    account = add("account", run.account, "print the own broker's password for a node or oven; made if new")
    account.add_argument("name", help="the node's or oven's key")
    from monitor.commands import people as who

    people = add("people", who.people, "who may sign in: list, one-time codes, devices signed out, removal")
    people.add_argument("action", choices=who.ACTIONS)
    people.add_argument("name", nargs="?", help="the person; `code` without it is for the first owner")
    people.add_argument(
        "--role", choices=("look", "do", "owner"), default="do", help="of who is invited (do)"
    )


def _add_records(add: _Add) -> None:
    from monitor.commands import records, services

    record = add(
        "record", services.record, "write what passes on the broker into a capture file, until stopped"
    )
    record.add_argument("file", type=Path, help="capture to write (.jsonl or .jsonl.gz)")
    record.add_argument("--seconds", type=_positive, default=None, help="stop after this long")
    replay = add("replay", records.replay, "feed a capture through the same code, as fast as it goes")
    replay.add_argument("file", type=Path, help="capture to read")
    backup = add("backup", records.backup, "a safe copy of the database, also while the service runs")
    backup.add_argument("file", type=Path, help="copy to write")
    restore = add("restore", records.restore, "bring a copy back; the replaced database is kept beside it")
    restore.add_argument("file", type=Path, help="copy to bring back")


def _add_questions(add: _Add) -> None:
    from monitor.commands import checks, records

    inventory = add("inventory", records.inventory, "load or dump rooms, boxes, spools and ovens")
    inventory.add_argument("action", choices=("load", "dump"))
    inventory.add_argument("file", type=Path, nargs="?", help="inventory file (TOML) to load")
    status = add("status", records.status, "how everything is")
    status.add_argument("--json", action="store_true", help="one JSON document")
    status.add_argument("--at", metavar="TIME", default=None, help="as of this time (RFC 3339, UTC)")
    check = add("check", checks.check, "self-test of settings, database, log, broker, sensors and clock")
    check.add_argument("file", type=Path, nargs="?", help="a backup to look at instead")
    check.add_argument(
        "--log-head", type=_log_head, metavar="N:HASH", help="an end of the log that was noted elsewhere"
    )
    check.add_argument("--json", action="store_true", help="one JSON document")


def _add_advice(add: _Add) -> None:
    from monitor.commands import advice

    ask = add("what-if", advice.what_if, "moisture of a material after hours at a humidity; no database")
    ask.add_argument("--material", required=True, metavar="KEY", help="key of the catalogue, such as pla")
    ask.add_argument("--diameter-mm", type=_figure, default=1.75, help="of the filament (1.75)")
    ask.add_argument("--net-g", type=_figure, default=1000.0, help="filament on the spool (1000)")
    ask.add_argument("--start-pct", type=_figure, default=None, help="water at first (half of the limit)")
    ask.add_argument("--rh", type=_figure, required=True, help="relative humidity of the air, %%")
    ask.add_argument("--temperature", type=_figure, default=23.0, help="of the air, degC (23)")
    ask.add_argument("--hours", type=_figure, required=True, help="how long")
    ask.add_argument("--flanges", choices=("closed", "open"), default="closed")
    ask.add_argument("--form", choices=("spool", "strand"), default="spool")
    ask.add_argument("--json", action="store_true", help="one JSON document")


def _add_plan(add: _Add) -> None:
    from monitor.commands import planning

    ask = add("plan", planning.plan, "a drying plan: how hot, how long, how far down; nothing is switched")
    ask.add_argument("--oven", metavar="KEY", help="an oven of the inventory; needs the database")
    ask.add_argument("--spool", metavar="KEY", nargs="+", action="extend", help="spools that go into it")
    ask.add_argument("--material", metavar="KEY", help="without --oven: what is on the spool, such as petg")
    ask.add_argument("--reel", metavar="KEY", help="what it is wound on (the weakest common one)")
    ask.add_argument("--desiccant", metavar="KEY", help="regenerate this instead of drying a spool")
    ask.add_argument("--ready-by", metavar="TIME", help="start so that it is cool by then (RFC 3339)")
    for name, text in (
        ("--net-g", "filament on the spool (1000)"),
        ("--diameter-mm", "of the filament (1.75)"),
        ("--start-pct", "water in it now (not known)"),
        ("--room-rh", "humidity of the air drawn in, %% (as measured, or 50)"),
        ("--room-temperature", "of that air, degC (as measured, or 23)"),
        ("--oven-max", "what the oven stands, degC (130)"),
        ("--overshoot-c", "how far it overshoots, degC (5)"),
        ("--sensor-error-c", "how wrong its sensor may be, degC (2)"),
        ("--dry-g", "desiccant when dry"),
        ("--loading-pct", "water in it, g per 100 g dry (not known)"),
        ("--target-pct", "how dry it has to be, %% (its printing limit)"),
        ("--first-m", "only so many metres from the outside have to be (the mean of all)"),
    ):
        ask.add_argument(name, type=_any_number, default=None, help=text)
    ask.add_argument("--json", action="store_true", help="one JSON document")


def _log_head(text: str) -> AuditHead:
    match = re.fullmatch(r"([1-9][0-9]{0,17}):([0-9a-f]{64})", text)
    if match is None:
        raise argparse.ArgumentTypeError(
            f"{text[:90]!r} is not a number of a line, a colon and 64 hex digits"
        )
    return AuditHead(seq=int(match[1]), hash=match[2])


def _figure(text: str) -> float:
    """Any number whatever, since what computes with it names the range of its field."""
    try:
        return float(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text[:40]!r} is not a number") from None


def _any_number(text: str) -> float:
    return _number(text, -1e9, 1e9)


def _port(text: str) -> int:
    return int(_number(text, 0, 65_535))


def _speed(text: str) -> float:
    return _number(text, 0.1, 5_000)


def _days(text: str) -> float:
    return _number(text, 0, 60)


def _positive(text: str) -> float:
    return _number(text, 0.001, 1e9)


def _number(text: str, lowest: float, highest: float) -> float:
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not lowest <= value <= highest:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number from {lowest:g} to {highest:g}")
    return value


if __name__ == "__main__":
    sys.exit(main())
