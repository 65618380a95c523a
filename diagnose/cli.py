"""The command line: options in, one subcommand run, one exit code out.

0: done. 1: a mistake the user can mend, told in one message. 2: a wrong command line.
Everything heavy is imported by the subcommand that needs it.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import sys
from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from diagnose import __version__
from diagnose.errors import DiagnoseError, InvalidFileError

if TYPE_CHECKING:
    from diagnose.circuit.car import Car
    from diagnose.faults.knowledge import Knowledge
    from diagnose.session.ready_car import Model
    from diagnose.terminal.dialogue.evening import Options

    Commands = argparse._SubParsersAction[argparse.ArgumentParser]

EXIT_DONE = 0
EXIT_USER_MISTAKE = 1
EXIT_INTERRUPTED = 130
"""128 + SIGINT, as shells report a command stopped by Ctrl-C (POSIX.1-2017, 2.8.2)."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command line.

    Parameters
    ----------
    arguments : Sequence[str] or None
        Words behind the program's name; None for those of the process.

    Returns
    -------
    int
        The exit code.
    """
    options = build_parser().parse_args(arguments)
    # Read when numpy is imported: for matrices of this size one thread is the quickest.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    _carry_on_at_strange_letters()
    try:
        options.run(options)
        sys.stdout.flush()
    except InvalidFileError as error:
        # each line begins with its file and line, as editors expect
        sys.stderr.write(f"{_safe(str(error))}\n")
        return EXIT_USER_MISTAKE
    except DiagnoseError as error:
        for line in _safe(str(error)).splitlines():
            sys.stderr.write(f"diagnose: {line}\n")
        return EXIT_USER_MISTAKE
    except BrokenPipeError:
        # The reader had enough. Python flushes once more at exit: into nothing.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except KeyboardInterrupt:
        sys.stderr.write("\nStopped; what was told is kept.\n")
        return EXIT_INTERRUPTED
    return EXIT_DONE


def build_parser() -> argparse.ArgumentParser:
    """Return the parser with every subcommand."""
    parser = argparse.ArgumentParser(
        prog="diagnose",
        description="Find the fault in a circuit added to an older car, "
        "one reading at a time.",
        epilog="Read the cautions first; the manuals of the car and of its parts "
        "come before anything said here.",
    )
    parser.add_argument("--version", action="version", version=__version__)
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")
    _add_start(commands)
    _add_resume(commands)
    _add_cases(commands)
    _add_learn(commands)
    _add_check(commands)
    _add_expand(commands)
    _add_expect(commands)
    _add_prestart(commands)
    _add_replay(commands)
    _add_record(commands)
    _add_trial(commands)
    _add_export(commands)
    _add_schema(commands)
    return parser


def _add_start(commands: Commands) -> None:
    parser = commands.add_parser("start", help="begin a diagnosis on a car")
    _add_car(parser)
    parser.add_argument("--case", default="", metavar="NAME", help="name for the case")
    _add_owner(parser)
    parser.add_argument(
        "--prestart",
        action="store_true",
        help="go through the readings before the first start",
    )
    _add_face(parser)
    _add_data_folder(parser)
    parser.set_defaults(run=_start)


def _add_resume(commands: Commands) -> None:
    parser = commands.add_parser("resume", help="go on with a stored case")
    parser.add_argument(
        "case", nargs="?", default="", metavar="CASE", help="default: the latest"
    )
    _add_face(parser)
    _add_data_folder(parser)
    parser.set_defaults(run=_resume)


def _add_cases(commands: Commands) -> None:
    parser = commands.add_parser(
        "cases", help="list the stored cases, or pool the closed ones as files"
    )
    pooling = parser.add_mutually_exclusive_group()
    pooling.add_argument(
        "--export",
        type=Path,
        metavar="FILE",
        dest="export_to",
        help="write the closed cases to a file: no names, dates or readings",
    )
    pooling.add_argument(
        "--import",
        type=Path,
        metavar="FILE",
        dest="import_from",
        help="take in the closed cases of such a file",
    )
    pooling.add_argument(
        "--drop-import",
        action="store_true",
        help="take the latest imported file out again",
    )
    _add_data_folder(parser)
    parser.set_defaults(run=_cases)


def _add_learn(commands: Commands) -> None:
    parser = commands.add_parser(
        "learn", help="learn from the closed cases which faults are common"
    )
    way = parser.add_mutually_exclusive_group()
    way.add_argument(
        "--show", action="store_true", help="show what is learned; learn nothing"
    )
    way.add_argument("--undo", action="store_true", help="go back to what held before")
    _add_cluster(parser)
    parser.add_argument("--json", action="store_true", help="as one JSON object")
    _add_data_folder(parser)
    parser.set_defaults(run=_learn)


def _add_check(commands: Commands) -> None:
    parser = commands.add_parser("check", help="say what is wrong with a car file")
    _add_car(parser)
    parser.set_defaults(run=_check)


def _add_expand(commands: Commands) -> None:
    parser = commands.add_parser(
        "expand", help="show every part and value, and where each value comes from"
    )
    _add_car(parser)
    parser.set_defaults(run=_expand)


def _add_expect(commands: Commands) -> None:
    parser = commands.add_parser(
        "expect", help="show what every test point should read, sound or with a fault"
    )
    _add_car(parser)
    for name, about in (
        ("state", "only in this operating state"),
        ("part", "only at the terminals of this part"),
        ("place", "only at this place"),
    ):
        parser.add_argument(
            f"--{name}", action="append", default=[], metavar="NAME", help=about
        )
    parser.add_argument(
        "--fault", default="", metavar="CAUSE", help="set this fault beside it"
    )
    parser.add_argument(
        "--all",
        action="store_true",
        help="with --fault: also the readings that the fault does not change",
    )
    parser.add_argument(
        "--drops", action="store_true", help="also along wires, contacts and loads"
    )
    parser.add_argument(
        "--lamp", action="store_true", help="also what a test lamp shows, engine off"
    )
    parser.add_argument(
        "--format",
        choices=("table", "csv", "json", "markdown"),
        default="table",
        help="default: table",
    )
    _add_width(parser)
    parser.set_defaults(run=_expect)


def _add_prestart(commands: Commands) -> None:
    parser = commands.add_parser(
        "prestart", help="list the readings to take before the first start"
    )
    _add_car(parser)
    _add_history(parser)
    _add_owner(parser)
    parser.add_argument(
        "--all", action="store_true", help="name every cause that no reading shows"
    )
    parser.add_argument(
        "--format",
        choices=("table", "markdown", "json"),
        default="table",
        help="default: table",
    )
    _add_width(parser)
    _add_data_folder(parser)
    parser.set_defaults(run=_prestart)


def _add_replay(commands: Commands) -> None:
    parser = commands.add_parser(
        "replay", help="go through a worked case and check what must hold"
    )
    parser.add_argument(
        "case",
        metavar="CASE",
        help="a case file, or the name of one that comes with it",
    )
    parser.add_argument(
        "--step", action="store_true", help="wait for Enter before each step"
    )
    parser.add_argument(
        "--anew",
        action="store_true",
        help="play it again from its seed instead, and write its file over",
    )
    _add_width(parser)
    _add_data_folder(parser)
    parser.set_defaults(run=_replay)


def _add_record(commands: Commands) -> None:
    parser = commands.add_parser(
        "record", help="play a diagnosis on a car with a known fault into a case file"
    )
    _add_car(parser)
    parser.add_argument(
        "--fault",
        action="append",
        required=True,
        metavar="CAUSE",
        help="a hidden fault",
    )
    parser.add_argument("--complaint", required=True, metavar="NAME")
    parser.add_argument("--seed", type=int, default=0, metavar="N", help="default: 0")
    parser.add_argument("--out", type=Path, required=True, metavar="FILE")
    parser.add_argument("--title", default="", help="one line")
    parser.add_argument("--owner", default="", help="the owner's words")
    _add_history(parser)
    _add_data_folder(parser)
    parser.set_defaults(run=_record)


def _add_trial(commands: Commands) -> None:
    parser = commands.add_parser(
        "trial", help="play many diagnoses on hidden faults and say how good they are"
    )
    _add_car(parser)
    parser.add_argument(
        "-n", type=int, default=100, metavar="N", help="how many; default: 100"
    )
    parser.add_argument("--seed", type=int, default=0, metavar="N", help="default: 0")
    parser.add_argument(
        "--workers", type=int, default=0, metavar="N", help="default: every core"
    )
    _add_cluster(parser)
    parser.add_argument(
        "--policies",
        action="store_true",
        help="let other ways to choose the readings play the same cars",
    )
    parser.add_argument("--json", action="store_true", help="as one JSON object")
    _add_data_folder(parser)
    parser.add_argument(
        "--outside",
        action="store_true",
        help="hide what is no cause of the model; is that recognised?",
    )
    parser.set_defaults(run=_trial)


def _add_cluster(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--cluster",
        default="",
        metavar="ADDRESS",
        help="work on a Dask cluster, for instance tcp://host:8786",
    )


def _add_export(commands: Commands) -> None:
    parser = commands.add_parser(
        "export", help="write the network of a car or of a case for other programs"
    )
    what = parser.add_mutually_exclusive_group(required=True)
    what.add_argument(
        "car",
        nargs="?",
        metavar="CAR",
        help="a car file, or the name of a car that comes with it",
    )
    what.add_argument(
        "--case", default="", metavar="CASE", help="a stored case and its facts instead"
    )
    parser.add_argument(
        "--format", choices=("bif", "xmlbif"), default="bif", help="default: bif"
    )
    parser.add_argument(
        "--symptoms",
        action="store_true",
        help="one fault at a time, with every symptom",
    )
    _add_history(parser)
    parser.add_argument(
        "--out", type=Path, metavar="FILE", help="default: standard output"
    )
    _add_data_folder(parser)
    parser.set_defaults(run=_export)


def _history(options: argparse.Namespace) -> dict[str, str]:
    return {
        context: answer
        for context, _, answer in (given.partition("=") for given in options.history)
    }


def _add_schema(commands: Commands) -> None:
    parser = commands.add_parser("schema", help="print the JSON Schema of a car file")
    which = parser.add_mutually_exclusive_group()
    which.add_argument(
        "--lines", action="store_true", help="that of the JSON lines instead"
    )
    which.add_argument(
        "--closed-cases",
        action="store_true",
        help="that of a line of closed cases instead",
    )
    parser.set_defaults(run=_schema)


def _add_car(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "car", metavar="CAR", help="a car file, or the name of a car that comes with it"
    )


def _add_owner(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--without",
        action="append",
        default=[],
        metavar="LIMIT",
        help="what you lack: clamp, test-lamp, helper, lift",
    )
    parser.add_argument(
        "--owner",
        type=Path,
        metavar="FILE",
        help="where you say so once for all; default: owner.yaml in your config folder",
    )


def _add_history(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--history",
        action="append",
        default=[],
        metavar="CONTEXT=ANSWER",
        help="for instance wiring=fresh",
    )


def _add_face(parser: argparse.ArgumentParser) -> None:
    face = parser.add_mutually_exclusive_group()
    face.add_argument(
        "--plain", action="store_true", help="text only: for screen readers and pipes"
    )
    face.add_argument(
        "--json", action="store_true", help="JSON lines: for other programs"
    )
    _add_width(parser)


def _add_width(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--width", type=int, default=0, metavar="N", help="longest line, in characters"
    )


def _add_data_folder(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--data-folder",
        type=Path,
        metavar="FOLDER",
        help="where cases are kept; default: your data folder",
    )


def _start(options: argparse.Namespace) -> None:
    from diagnose.terminal.dialogue.evening import start

    start(options.car, options.case, _evening_options(options))


def _resume(options: argparse.Namespace) -> None:
    from diagnose.terminal.dialogue.evening import resume

    resume(options.case, _evening_options(options))


def _cases(options: argparse.Namespace) -> None:
    from diagnose.terminal.reports import closed_cases, listings

    folder = _data_folder(options)
    if options.export_to:
        closed_cases.export_cases(
            folder, _published(), out=options.export_to, sink=sys.stdout
        )
    elif options.import_from:
        closed_cases.import_cases(
            folder, _published(), source=options.import_from, sink=sys.stdout
        )
    elif options.drop_import:
        closed_cases.drop_import(folder, sys.stdout)
    else:
        listings.list_cases(options.data_folder, sys.stdout)


def _learn(options: argparse.Namespace) -> None:
    from diagnose.terminal.reports import learn_listing

    folder = _data_folder(options)
    if options.undo:
        learn_listing.undo(folder, sys.stdout)
        return
    if options.show:
        learn_listing.show_learned(
            folder, _published(), is_json=options.json, sink=sys.stdout
        )
        return
    from diagnose.terminal.progress import Progress

    act = learn_listing.learn
    if options.cluster:
        act = partial(learn_listing.learn_there, address=options.cluster)
    with contextlib.ExitStack() as stack:
        progress = None
        if sys.stderr.isatty():
            progress = stack.enter_context(Progress(sys.stderr, about="learning"))
        act(
            folder,
            _published(),
            is_json=options.json,
            sink=sys.stdout,
            progress=progress,
        )


def _data_folder(options: argparse.Namespace) -> Path:
    from diagnose.store.case_store import default_data_folder

    given: Path | None = options.data_folder
    return given or default_data_folder()


def _published() -> Knowledge:
    from diagnose.files.knowledge.knowledge_files import load_knowledge
    from diagnose.files.resources import knowledge_folder

    return load_knowledge(knowledge_folder())


def _check(options: argparse.Namespace) -> None:
    from diagnose.terminal.reports.listings import check_car_file

    check_car_file(options.car, sys.stdout)


def _expand(options: argparse.Namespace) -> None:
    from diagnose.terminal.reports.listings import list_expansion

    list_expansion(options.car, sys.stdout)


def _expect(options: argparse.Namespace) -> None:
    from diagnose.session.sheets.expected_readings import Choice
    from diagnose.terminal.reports.sheet_listing import list_expected

    choice = Choice(
        states=tuple(options.state),
        parts=tuple(options.part),
        places=tuple(options.place),
        fault=options.fault,
        has_drops=options.drops,
        has_lamp=options.lamp,
    )
    list_expected(
        options.car,
        choice,
        form=options.format,
        width=options.width,
        sink=sys.stdout,
        has_all_rows=options.all,
    )


def _prestart(options: argparse.Namespace) -> None:
    from diagnose.terminal.reports.prestart_listing import (
        PrestartOptions,
        list_prestart,
    )

    wanted = PrestartOptions(
        car=options.car,
        form=options.format,
        width=options.width,
        history=_history(options),
        has_all=options.all,
        data_folder=options.data_folder,
        without=tuple(options.without),
        owner_file=options.owner,
    )
    list_prestart(wanted, sys.stdout)


def _replay(options: argparse.Namespace) -> None:
    from diagnose.terminal.dialogue.evening import Options, prepared_model
    from diagnose.terminal.reports.case_pages import record_anew, replay_case

    place = Options(data_folder=options.data_folder)

    def open_model(car: Car, knowledge: Knowledge) -> Model:
        return prepared_model(car, knowledge, place)

    if options.anew:
        record_anew(options.case, open_model=open_model, sink=sys.stdout)
        return
    replay_case(
        options.case,
        open_model=open_model,
        pause=_wait_for_enter if options.step else lambda: None,
        width=options.width,
        sink=sys.stdout,
    )


def _record(options: argparse.Namespace) -> None:
    from diagnose.terminal.dialogue.evening import Options, prepared_model
    from diagnose.terminal.reports.case_pages import record_case
    from diagnose.trial.case_recording import Recording

    place = Options(data_folder=options.data_folder)
    wanted = Recording(
        car_name=options.car,
        faults=tuple(options.fault),
        complaint=options.complaint,
        seed=options.seed,
        title=options.title,
        owner=options.owner,
        history=_history(options),
    )
    record_case(
        wanted,
        open_model=lambda car, knowledge: prepared_model(car, knowledge, place),
        out=options.out,
        sink=sys.stdout,
    )


def _trial(options: argparse.Namespace) -> None:
    from diagnose.terminal.reports.trial_listing import TrialOptions, run

    wanted = TrialOptions(
        car=options.car,
        n_games=max(options.n, 1),
        first_seed=options.seed,
        n_workers=options.workers or os.cpu_count() or 1,
        is_json=options.json,
        data_folder=options.data_folder,
        cluster=options.cluster,
        has_policies=options.policies,
        is_outside=options.outside,
    )
    run(wanted, sink=sys.stdout, notice=sys.stderr)


def _export(options: argparse.Namespace) -> None:
    from diagnose.terminal.dialogue.evening import Options, prepared_model
    from diagnose.terminal.dialogue.learned_shares import knowledge_in_use
    from diagnose.terminal.reports import network_listing
    from diagnose.terminal.reports.listings import open_car

    place = Options(data_folder=options.data_folder)
    knowledge, remarks = knowledge_in_use(place.folder, _published())
    sys.stderr.writelines(f"diagnose: {_safe(remark)}\n" for remark in remarks)
    facts = None
    if options.case:
        car, facts = network_listing.stored_facts(options.case, place.folder, knowledge)
    else:
        car = open_car(options.car)
    wanted = network_listing.NetworkOptions(
        form=options.format,
        has_symptoms=options.symptoms,
        history=_history(options),
        facts=facts,
        out=options.out,
    )
    network_listing.write_network(
        car,
        knowledge,
        wanted,
        open_model=lambda: prepared_model(car, knowledge, place),
        sink=sys.stdout,
    )


def _wait_for_enter() -> None:
    """Wait until the reader wants the next step; the end of input counts as Enter."""
    sys.stderr.write("Enter: next step ")
    sys.stderr.flush()
    sys.stdin.readline()


def _schema(options: argparse.Namespace) -> None:
    if options.lines:
        from diagnose.terminal.dialogue.json_face import lines_schema

        sys.stdout.write(lines_schema())
        return
    import json

    from diagnose.files.car.grammar.entries import car_json_schema
    from diagnose.files.cases.case_lines import line_json_schema

    schema = line_json_schema() if options.closed_cases else car_json_schema()
    sys.stdout.write(json.dumps(schema, indent=2) + "\n")


def _evening_options(options: argparse.Namespace) -> Options:
    from diagnose.terminal.dialogue.evening import Options

    return Options(
        is_plain=options.plain,
        is_json=options.json,
        width=options.width,
        data_folder=options.data_folder,
        is_prestart=getattr(options, "prestart", False),
        without=tuple(getattr(options, "without", ())),
        owner_file=getattr(options, "owner", None),
    )


def _carry_on_at_strange_letters() -> None:
    """Make input and output go on at bytes or letters they can't represent."""
    for stream in (sys.stdin, sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            with contextlib.suppress(ValueError):
                reconfigure(errors="replace")


def _safe(message: str) -> str:
    """Return a message without control codes: a file may have put some in."""
    from diagnose.terminal.safe_text import clean_lines

    return "\n".join(clean_lines(message))
