"""The command line: `optics COMMAND`, or `python -m optics COMMAND`.

Every command says in sentences what it did. Bad input ends with one sentence and
exit status 2; nothing that is there already is overwritten.
"""

from __future__ import annotations

import argparse
import io
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import NoReturn

from optics.errors import OpticsError

WRONG = 2
"""Exit status for bad input."""
DIFFERS = 1
"""Exit status where everything ran and the outcome is not what it ought to be."""

CAUTION = (
    "A reading is not an eye examination. Rules for dispensing differ from place to place, "
    "and a licensed practitioner decides."
)


class _Parser(argparse.ArgumentParser):
    """Says what is wrong in one sentence, and where help is."""

    def error(self, message: str) -> NoReturn:
        sentence = message[:1].upper() + message[1:]
        self.exit(WRONG, f"{sentence}. Ask `{self.prog} --help` for what it takes.\n")


def _whole(text: str) -> int:
    try:
        return int(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f'"{text}" is not a whole number') from None


# --- commands: each imports what it needs, so that help comes at once ----------------------


def _learn(given: argparse.Namespace) -> int:
    from optics.course.lab import open_for_learner

    if not _has_sources():
        # A learner's copy: the chapters lie where the instructor's zip was unpacked.
        folder = given.folder or Path.cwd()
        start = next((each.relative_to(folder).as_posix() for each in sorted(folder.glob("*/*.ipynb"))), "")
        if not start:
            print(
                f"There are no chapters in {folder}. Go to the folder you unpacked, and try again.",
                file=sys.stderr,
            )
            return WRONG
        return open_for_learner(folder.resolve(), start)
    from optics.course.self_study import lay_out, outside_the_program, own_folder, remember

    if given.only_lay_out:
        folder = given.folder or Path("optics workbook")
        outside_the_program(folder)
        print(lay_out(folder))
        return 0
    laid = lay_out(own_folder(given.folder, given.blank))
    remember(laid.folder)  # only now is it there
    print(laid)
    start = next((name for name in sorted((*laid.laid, *laid.kept)) if name.endswith(".ipynb")), "")
    return open_for_learner(laid.folder, start)


def _has_sources() -> bool:
    from optics.project_files import project_folder

    return (project_folder("notebooks") / "source").is_dir()


def _mark_mine(given: argparse.Namespace) -> int:
    from optics.course.self_study import mark_mine

    print(mark_mine(given.file, page=not given.no_page))
    return 0


def _draw(given: argparse.Namespace) -> int:
    from optics.drawing.to_file import draw_to_file

    print(f"The drawing lies in {draw_to_file(given.kind, given.text, given.file)}.")
    return 0


def _sheet(given: argparse.Namespace) -> int:
    from optics.drawing.sheets import TASKS, lenses_in, sheet

    *tasks, file = given.tasks_and_file
    if not tasks:
        raise OpticsError(
            f'"{file}" stands alone.',
            f"A sheet needs what it asks and a file; it can ask {', '.join(TASKS)}.",
            "Try: draw-crosses sheet.pdf",
        )
    own = None if given.lenses is None else lenses_in(given.lenses.read_text("utf-8", "replace"))
    made = sheet(
        tasks, given.count, given.number, lenses=own, title=given.title, shop=given.shop, paper=given.paper
    )
    questions, answers = made.save(file)
    print(f"The sheet lies in {questions}, its answers in {answers}.")
    return 0


def _crib(given: argparse.Namespace) -> int:
    from optics.drawing.crib import crib
    from optics.drawing.diagram import bound, checked_target, written_to

    path = checked_target(given.file, (".pdf",))
    print(f"The crib lies in {written_to(path, bound(crib(given.paper), 'At the bench'))}.")
    return 0


def _charts(given: argparse.Namespace) -> int:
    from optics.drawing.diagram import checked_target, written_to
    from optics.drawing.mark_up_charts import mark_up_charts

    path = checked_target(given.file, (".pdf",))
    print(f"The charts lie in {written_to(path, mark_up_charts(given.paper).render('pdf'))}. Print at 100 %.")
    return 0


def _intake(given: argparse.Namespace) -> int:
    from optics.course.choices import described, read_choices
    from optics.course.folder import (
        CONFIGURATION,
        INTAKE,
        checked_intake_name,
        make_course,
        open_course,
        start_intake,
    )

    checked_intake_name(given.name)  # before a folder is made for it
    if given.course is not None and not (given.course / CONFIGURATION).is_file():
        course, known = make_course(given.course), []
    else:
        course = open_course(given.course)
        known = [each.name for each in course.intakes()] if (course.root / INTAKE).is_file() else []
    choices = read_choices(course, given.chapters, given.points, given.tolerance)
    intake = start_intake(course, given.name, **choices)
    if said := described(intake):
        print(said)
    if intake.name in known:
        print(f'The intake "{intake.name}" is in hand again. Release its chapters again to hand them out.')
        return 0
    print(
        f'The intake "{intake.name}" has its own secret, in {course.root / INTAKE}. Keep a copy: '
        "the unknown pairs are drawn from it. Next, if you have a class list, `python -m optics class FILE`; then `python -m optics release`."
    )
    if known:
        print(
            f"What was handed out to {', '.join(known)} is still marked with its own pairs, and "
            "`python -m optics intake` with such a name goes back to it."
        )
    return 0


def _deadline(given: argparse.Namespace) -> int:
    from optics.course.folder import open_course, set_deadline

    course = open_course(given.course)
    due = set_deadline(course, given.due, given.chapters, given.learner)
    what = ", ".join(given.chapters) or "Every chapter"
    whom = f" for {', '.join(given.learner)}" if given.learner else ""
    state = f"is due {due}" if due else "has no deadline"
    print(f'{what} {state}{whom} in the intake "{course.intake.name}".')
    return 0


def _release(given: argparse.Namespace) -> int:
    from optics.course.folder import open_course
    from optics.course.learner_side import pack
    from optics.course.release import HandedOutError, release

    course = open_course(given.course)
    try:
        released = release(course, given.chapters, replace=given.replace)
    except HandedOutError as error:
        if not _agreed(f"{error}\nReplace it?"):
            raise
        released = release(course, given.chapters, replace=True)
    for done in released:
        print(done)
    print(f"One zip for the class, with everything a learner needs, lies in {pack(course)}.")
    return 0


def _agreed(question: str) -> bool:
    """Whether somebody at the keyboard says yes; where nobody can be asked, it is no."""
    if not (sys.stdin and sys.stdin.isatty()):
        return False
    return input(f"{question} [y/N] ").strip().casefold() in {"y", "yes"}


def _make_class(given: argparse.Namespace) -> int:
    from optics.course.class_maker import make_class
    from optics.course.feedback import new_folder
    from optics.course.folder import open_course

    course = open_course(given.course)
    folder = given.into or new_folder(course, "invented class") / "class"
    print(make_class(course, given.count, folder, given.seed, given.chapters))
    return 0


def _gather(given: argparse.Namespace) -> int:
    from optics.course.folder import open_course
    from optics.course.gather import gather

    course = open_course(given.course)
    print(gather(course, given.places, given.class_list, given.learner, given.intake, given.preview))
    return 0


def _class(given: argparse.Namespace) -> int:
    from optics.course.class_list import class_list, keep_class_list, read_class_list
    from optics.course.folder import open_course

    course = open_course(given.course)
    if given.file is None:
        for each in class_list(course):
            print("  ".join(filter(None, (each.identifier, each.name, each.email, each.platform))))
        return 0
    found = read_class_list(given.file)
    print(found)
    if not (given.yes or _agreed("Is this right?")):
        print(
            "Nothing was kept. Say --yes where it is right; otherwise let the list's first line read: id,name,email"
        )
        return DIFFERS
    keep_class_list(course, found.learners)
    print(
        "It is kept in the course. What is released from now on knows everybody's name; what was released before"
    )
    print("goes by what is typed there, so release it again with --replace if it is not handed out yet.")
    return 0


def _choose(given: argparse.Namespace) -> int:
    from optics.course.folder import open_course
    from optics.course.gather import choose

    print(choose(open_course(given.course), given.id, given.chapter, given.version))
    return 0


def _people(given: argparse.Namespace) -> int:
    from optics.course import people
    from optics.course.folder import open_course

    course = open_course(given.course)
    match given.what:
        case "merge":
            print(people.merge(course, given.id, given.into))
        case "rename":
            print(people.rename(course, given.id, given.into))
        case _:
            print(people.remove(course, given.id))
    return 0


def _mark(given: argparse.Namespace) -> int:
    from optics.course.folder import open_course
    from optics.course.marking import mark
    from optics.course.report import write_report

    course = open_course(given.course)
    done = mark(
        course,
        given.chapters,
        given.learner,
        given.again,
        processes=given.processes or os.cpu_count() or 1,
        scheduler=given.scheduler,
    )
    for each in done:
        if each.notes or not each.marked:
            print(each)
    marked = sum(each.marked for each in done)
    print(f"{marked} of {len(done)} submissions were marked." if done else "There is nothing new to mark.")
    if marked:
        print(f"The class report lies in {write_report(course, given.chapters)}; open class.html there.")
    return 0


def _key(given: argparse.Namespace) -> int:
    from optics.course.folder import open_course
    from optics.course.looking_closer import key

    print(key(open_course(given.course), given.id, given.chapters))
    return 0


def _as_read(given: argparse.Namespace) -> int:
    from optics.course.as_it_was_read import as_it_was_read
    from optics.course.folder import open_course

    print(f"The page lies in {as_it_was_read(open_course(given.course), given.id, given.chapter)}.")
    return 0


def _kit(given: argparse.Namespace) -> int:
    from optics.course import kits
    from optics.course.folder import open_course

    course, words = open_course(given.course), given.words
    match given.what, words:
        case "register", [file]:
            print(
                f"{len(kits.register(course, Path(file)))} pairs are in the register, on this machine only."
            )
        case "labels", _:
            print(f"The labels lie in {kits.labels(course, words)}.")
        case "worksheets", _:
            print(f"The worksheets lie in {kits.worksheets(course, words, given.paper)}.")
        case "lend", [number, learner]:
            print(kits.lend(course, number, learner))
        case "back", [number]:
            print(kits.lend(course, number))
        case "mark", [] | [_]:
            print(kits.mark_readings(course, Path(words[0]) if words else None))
        case _:
            print(
                "Say what: register FILE, labels, worksheets, lend N ID, back N, or mark FILE.",
                file=sys.stderr,
            )
            return WRONG
    return 0


def _report(given: argparse.Namespace) -> int:
    from optics.course.folder import open_course
    from optics.course.report import write_report

    print(
        f"The class report lies in {write_report(open_course(given.course), given.chapters)}; open class.html there."
    )
    return 0


def _hand_back(given: argparse.Namespace) -> int:
    from optics.course.feedback import hand_back
    from optics.course.folder import open_course

    print(hand_back(open_course(given.course), given.chapters, given.learner))
    return 0


def _teach(given: argparse.Namespace) -> int:
    from optics.course.folder import open_course
    from optics.course.lab import open_for_teaching

    course = open_course(given.course)
    print(f"JupyterLab opens on the course in {course.root}; formgrader is in its Nbgrader menu.")
    return open_for_teaching(course)


def _rehearse(given: argparse.Namespace) -> int:
    from optics.course.folder import make_course
    from optics.course.rehearsal import rehearse

    course = make_course(given.into)
    done = rehearse(course, given.count, given.seed, given.chapters)
    print(done)
    return 0 if done.success else DIFFERS


# --- what each takes ------------------------------------------------------------------------


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(
        prog="python -m optics",
        description="A workbook for apprentices who learn to read spectacles on a focimeter.",
        epilog=CAUTION,
    )
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", required=True, parser_class=_Parser)

    def command(name: str, run, words: str, long: str = "") -> argparse.ArgumentParser:
        added = commands.add_parser(
            name, help=words, description=f"{words[:1].upper()}{words[1:]}. {long}".strip()
        )
        added.set_defaults(run=run)
        return added

    def of_chapters(added: argparse.ArgumentParser) -> None:
        words = "name or number of a chapter (otherwise all)"
        added.add_argument("chapters", nargs="*", metavar="CHAPTER", help=words)

    def on_paper(added: argparse.ArgumentParser) -> None:
        added.add_argument("--paper", default="A4", help="A4 or Letter (otherwise A4)")

    def by_chance(added: argparse.ArgumentParser) -> None:
        words = "another number gives another class"
        added.add_argument("--seed", type=_whole, default=0, metavar="N", help=words)

    def for_course(added: argparse.ArgumentParser, chapters: bool = True) -> argparse.ArgumentParser:
        added.add_argument(
            "--course",
            type=Path,
            metavar="FOLDER",
            help="the course folder (otherwise the one you stand in, or the checkout's)",
        )
        if chapters:
            of_chapters(added)
        return added

    def for_learners(added: argparse.ArgumentParser) -> None:
        added.add_argument(
            "--learner",
            action="append",
            default=[],
            metavar="ID",
            help="only this learner; may be given again",
        )

    added = command("learn", _learn, "put the workbook into a folder and open it in JupyterLab",
                    "Files that are there already are left as they are.")  # fmt: skip
    added.add_argument("folder", nargs="?", type=Path, metavar="FOLDER",
                       help='your work folder (otherwise that of last time, at first "optics workbook" in your home)')  # fmt: skip
    added.add_argument("--blank", action="store_true", help="a second workbook, without your answers")
    added.add_argument("--only-lay-out", action="store_true", help="do not open JupyterLab")

    added = command("mark-mine", _mark_mine, "mark your own notebook and write a feedback page beside it")
    added.add_argument("file", type=Path, metavar="FILE", help="your notebook, ending in .ipynb")
    added.add_argument("--no-page", action="store_true", help="say the marks, and write no page")

    added = command("draw", _draw, "draw a prescription to a picture file",
                    "It never replaces a file. A KIND that does not exist lists those that do.")  # fmt: skip
    added.add_argument("kind", metavar="KIND", help="what is drawn, such as power-cross, axis-dial, prism or eyepiece")  # fmt: skip
    added.add_argument("text", metavar="TEXT", help='mostly the lens as written, such as "-2.25 -0.75 x 015"')
    added.add_argument("file", type=Path, metavar="FILE", help="where to, ending in .png, .svg or .pdf")

    added = command("sheet", _sheet, "make a homework sheet to print, with its answer sheet")
    added.add_argument(
        "tasks_and_file",
        nargs="+",
        metavar="TASK ... FILE",
        help="what is asked, such as draw-crosses or other-form, several for a mixed sheet; then a file ending in .pdf",
    )
    added.add_argument("--count", type=_whole, default=6, metavar="N", help="how many of each (otherwise 6)")
    added.add_argument(
        "--number", type=_whole, default=1, metavar="N", help="number of the sheet: the same gives the same"
    )
    added.add_argument("--lenses", type=Path, metavar="FILE", help="your own instead: a text file, one lens to a line")  # fmt: skip
    added.add_argument("--title", default="", help="at the head (otherwise the number of the sheet)")
    added.add_argument("--shop", default="", help="under the title")
    on_paper(added)

    added = command("crib", _crib, "make two pages to keep at the bench: steps, conventions and words")
    added.add_argument("file", type=Path, metavar="FILE", help="where to, ending in .pdf")
    on_paper(added)

    added = command("charts", _charts, "make the mark-up charts of the invented progressives, at true size")
    added.add_argument("file", type=Path, metavar="FILE", help="where to, ending in .pdf")
    on_paper(added)

    added = for_course(
        command("intake", _intake, "start an intake, or go back to one: a class with its own set of unknown pairs",
                "With --course and a new folder, a fresh course is made there. What is chosen here counts "
                "from the next release on; what is handed out stays as it is, and is marked so."), chapters=False)  # fmt: skip
    added.add_argument("name", metavar="NAME", help="a short name for the class")
    added.add_argument("chapters", nargs="*", metavar="CHAPTER", help='the only chapters it has; "all" for all again')  # fmt: skip
    added.add_argument("--points", action="append", default=[], metavar="WHAT=N", help='other points: "11=30" for a chapter, "11/pair-a=10" for a question; may be given again; "none" for those of the chapters')  # fmt: skip
    added.add_argument("--tolerance", default="", metavar="EDITION", help='the table verdicts are judged by, such as "ISO 21987:2009"; "none" for that of the chapter')  # fmt: skip

    added = for_course(
        command("release", _release, "make the chapters to hand out, without a trace of the answers")
    )
    added.add_argument(
        "--replace", action="store_true", help="take the place of what was released before, unasked"
    )

    added = command("deadline", _deadline, "say by when the intake in hand is to hand in",
                    "Late work is marked like any other; the report says how late it is.")  # fmt: skip
    added.add_argument("due", metavar="DATE", help='such as "2026-03-02 18:00"; "none" takes it away')
    for_course(added)
    for_learners(added)

    added = for_course(command("gather", _gather, "gather what came back, from zips, folders or single notebooks"), chapters=False)  # fmt: skip
    added.add_argument("places", nargs="+", type=Path, metavar="PLACE", help="a zip, a folder or a notebook")
    added.add_argument("--class-list", type=Path, metavar="FILE", help="CSV with the columns id and name (otherwise class-list.csv in the course)")  # fmt: skip
    added.add_argument("--learner", metavar="ID", help="whose they are, where the files do not tell")
    added.add_argument("--intake", metavar="NAME", help="the intake of files that have lost their stamp")

    added.add_argument(
        "--preview", action="store_true", help="only say what would be taken; nothing is written"
    )

    added = for_course(command("class", _class, "show the class list, or read one as a platform or spreadsheet saves it",
                               "It says which column it takes for what, and asks."), chapters=False)  # fmt: skip
    added.add_argument("file", nargs="?", type=Path, metavar="FILE", help="a CSV with names and numbers")
    added.add_argument("--yes", action="store_true", help="keep it unasked")

    added = for_course(command("choose", _choose, "choose which attempt of a chapter is marked", "Without a number it lists them."), chapters=False)  # fmt: skip
    added.add_argument("id", metavar="ID", help="whose")
    added.add_argument("chapter", metavar="CHAPTER", help="name or number of the chapter")
    added.add_argument("version", nargs="?", type=_whole, metavar="N", help="which, counted from 1")

    for what, words, second in (
        ("merge", "make one learner of two", ("into", "ID", "who remains")),
        ("rename", "give a learner another name", ("into", "NAME", "the name")),
        ("remove", "take a learner out of the course; the files are kept", ()),
    ):
        added = for_course(command(what, _people, words), chapters=False)
        added.set_defaults(what=what)
        added.add_argument("id", metavar="ID", help="the learner")
        if second:
            added.add_argument(second[0], metavar=second[1], help=second[2])

    added = for_course(command("mark", _mark, "mark what was gathered and write the class report",
                               "Answers are read; nothing in a submission is ever run."))  # fmt: skip
    for_learners(added)
    added.add_argument("--again", action="store_true", help="also what was marked before and has not changed")
    added.add_argument(
        "--processes", type=_whole, metavar="N", help="how many at once (otherwise one a processor)"
    )
    added.add_argument("--scheduler", default="", metavar="ADDRESS", help="mark on the workers of this dask scheduler, which share the course's disk")  # fmt: skip

    added = for_course(
        command("report", _report, "write the class report again, with marks given by hand since")
    )

    added = for_course(command("kit", _kit, "keep real pairs: register, labels, worksheets, loans, and what was read",
                               "Their powers stay in the course folder; labels and worksheets carry the number only."), chapters=False)  # fmt: skip
    added.add_argument("what", metavar="WHAT", help="register, labels, worksheets, lend, back or mark")
    added.add_argument("words", nargs="*", metavar="WORD", help="a file, a pair's number, a learner")
    added.add_argument("--paper", default="A4", help="of the worksheets, A4 or Letter (otherwise A4)")

    added = command("key", _key, "show the right tickets for one learner's unknown pairs")
    added.add_argument("id", metavar="ID", help="whose")
    for_course(added)

    added = for_course(command("as-read", _as_read, "show how a learner read the pairs, from the moves kept in the notebook"), chapters=False)  # fmt: skip
    added.add_argument("id", metavar="ID", help="whose")
    added.add_argument("chapter", metavar="CHAPTER", help="name or number of the chapter")

    added = for_course(
        command("hand-back", _hand_back, "write feedback pages and pack one zip for each learner")
    )
    for_learners(added)

    for_course(command("teach", _teach, "open JupyterLab on the course, with formgrader"), chapters=False)

    added = for_course(command("make-class", _make_class, "invent a class that fills in the released chapters",
                               "It writes a zip to gather, a class list, and what each was made to do."))  # fmt: skip
    added.add_argument(
        "--count", type=_whole, default=12, metavar="N", help="how many apprentices (otherwise 12)"
    )
    by_chance(added)
    added.add_argument(
        "--into", type=Path, metavar="FOLDER", help="a new folder for it (otherwise among the reports)"
    )

    added = command("rehearse", _rehearse, "run a whole course with an invented class and compare it with the truth",
                    "Release, work, gather, mark, report, hand back, in a new folder of its own.")  # fmt: skip
    added.add_argument("count", type=_whole, metavar="N", help="how many apprentices")
    of_chapters(added)
    added.add_argument("--into", type=Path, default=Path("rehearsal"), metavar="FOLDER", help='a new folder (otherwise "rehearsal" here)')  # fmt: skip
    by_chance(added)
    return parser


def _given(words: Sequence[str]) -> argparse.Namespace:
    """What was asked for, with words that stand after an option among those before it.

    argparse takes a list such as TASK ... FILE in one piece only.
    """
    parser = _parser()
    given, left = parser.parse_known_args(words)
    for name in ("tasks_and_file", "chapters", "words", "places"):
        if left and hasattr(given, name) and not any(word.startswith("-") for word in left):
            vars(given)[name], left = [*getattr(given, name), *left], []
    if left:
        parser.error(f"it does not take {' '.join(left)}")
    if "places" in vars(given):
        given.places = [Path(place) for place in given.places]
    return given


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and give its exit status.

    Parameters
    ----------
    arguments : sequence of str, optional
        The words after `optics`; those of the process where none are given.
    """
    for stream in (sys.stdout, sys.stderr):
        # A name that this terminal, or the file behind a >, cannot write costs no message.
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    words = list(sys.argv[1:] if arguments is None else arguments)
    if words[:1] == ["draw"] and not {"--", "-h", "--help"} & set(words):
        # A lens may begin with a minus sign, and `draw` has no options.
        words.insert(1, "--")
    given = _given(words)
    try:
        return given.run(given)
    except OpticsError as error:
        print(error, file=sys.stderr)
        return WRONG
    except ModuleNotFoundError as error:
        if not (error.name or "").startswith("optics."):
            raise
        print("This is a learner's copy of the workbook; that is done by your instructor.", file=sys.stderr)
        return WRONG
    except OSError as error:
        where = f" {error.filename}" if error.filename else ""
        print(f"The file or folder{where} could not be used: {error.strerror or error}.", file=sys.stderr)
        return WRONG
    except KeyboardInterrupt:
        print("Stopped. What was finished is kept.", file=sys.stderr)
        return 130


if __name__ == "__main__":
    sys.exit(main())
