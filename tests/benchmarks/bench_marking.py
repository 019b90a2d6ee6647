"""Marking a class beside nbgrader's own way, which starts a kernel for each submission.

Run by hand::

    python tests/benchmarks/bench_marking.py [APPRENTICES] [CHAPTER ...]

Releases chapters of the workbook, lets invented apprentices hand them in
undamaged, and marks the same notebooks in the same run: in this process, with two
processes, and a few of them with nbgrader's own preprocessors. Prints

- seconds a submission and the ratio to nbgrader's way; the aim is 25 times as fast,
- how much faster two processes are; the aim is 1.6 times,
- the last tenth of the class beside the first, in processor time and in memory; the
  aim is at most 1.2 times the time, and memory that stays,
- whether the marks are the same all three ways.

The first submission of each way loads what is needed and is counted apart. A machine
with other work to do shows too little for two processes.
"""

from __future__ import annotations

import os
import resource
import shutil
import sys
import tempfile
from pathlib import Path
from time import perf_counter, process_time

from nbgrader.converters import Autograde

from optics.course.class_maker import make_class
from optics.course.folder import Course, make_course, start_intake
from optics.course.gather import gather
from optics.course.grader import run_step
from optics.course.marking import mark
from optics.course.release import release
from optics.course.results import results

APPRENTICES, CHAPTERS, BY_KERNEL = 50, ("01", "02"), 4
NOT_OURS = """
from nbgrader.converters import Autograde

c.Autograde.sanitize_preprocessors = Autograde.sanitize_preprocessors.default()
c.Autograde.autograde_preprocessors = Autograde.autograde_preprocessors.default()
"""


def handed_in(folder: Path, apprentices: int, chapters: tuple[str, ...]) -> Course:
    """A course with what an invented class handed in, undamaged."""
    course = make_course(folder / "ours")
    start_intake(course, "benchmark")
    chosen = course.chosen(chapters)
    release(course, chosen)
    import optics.course.class_maker as class_maker

    class_maker.DAMAGED_SHARE = 0.0
    made = make_class(course, apprentices, folder / "class", chapters=chosen)
    gather(course, [made.handed_in], made.class_list)
    return course


def copied(course: Course, name: str) -> Course:
    """The same course again, before anything was marked."""
    return Course(root=Path(shutil.copytree(course.root, course.root.with_name(name))))


def memory_mb() -> float:
    """What this process takes now."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * resource.getpagesize() / 1e6


def marks(course: Course) -> dict[tuple[str, str, str], float]:
    """Every mark in the gradebook."""
    return {(r.learner, r.chapter, r.question): r.mark for r in results(course) if not r.practice}


def marked(course: Course, learners: tuple[str, ...], processes: int = 0) -> int:
    """Mark what some learners handed in, and say how many submissions that was."""
    done = mark(course, learners=learners, processes=processes)
    if not done or not all(each.marked for each in done):
        sys.exit("\n".join(str(each) for each in done if not each.marked) or "Nothing was marked.")
    return len(done)


def in_this_process(course: Course) -> float:
    """Mark everything, a tenth of the class at a time; seconds a submission."""
    learners = course.learners()
    begin = perf_counter()
    first = marked(course, learners[:1])
    print(f"the first {first}, with all that is loaded, {perf_counter() - begin:.2f} s")
    size = max(1, len(learners) // 10)
    tenths = [learners[at : at + size] for at in range(1, len(learners), size)]
    spent, taken, count, seconds = [], [], 0, 0.0
    for tenth in tenths:
        begin, cpu = perf_counter(), process_time()
        number = marked(course, tenth)
        spent.append((process_time() - cpu) / number)
        taken.append(memory_mb())
        count, seconds = count + number, seconds + perf_counter() - begin
    # The very last may be a handful.
    whole = [at for at, tenth in enumerate(tenths) if len(tenth) == size]
    last = whole[-1]
    print(f"reading answers      {seconds / count:7.3f} s a submission")
    print(
        f"last tenth to first  {spent[last] / spent[0]:7.2f} times the processor time (aim: at most 1.2); "
        f"{taken[0]:.0f} MB after the first, {taken[last]:.0f} MB after the last"
    )
    return seconds / count


def main(apprentices: int = APPRENTICES, chapters: tuple[str, ...] = CHAPTERS) -> None:
    """Mark all three ways and print the comparison."""
    with tempfile.TemporaryDirectory() as place:
        course = handed_in(Path(place).resolve(), apprentices, chapters)
        plain, two = copied(course, "plain"), copied(course, "two")
        with (plain.root / "nbgrader_config.py").open("a", encoding="utf-8") as file:
            file.write(NOT_OURS)
        count = sum(len(course.learners("submitted", chapter)) for chapter in course.chapters("release"))
        print(f"{count} submissions of {', '.join(course.chapters('release'))}")
        print(f"other work on this machine at the start: {os.getloadavg()[0]:.1f}")
        ours = in_this_process(course)
        begin = perf_counter()
        marked(two, (), processes=2)
        both = (perf_counter() - begin) / count
        print(f"in two processes     {both:7.3f} s a submission, {ours / both:.2f} times as fast (aim: 1.6)")
        times = []
        for learner in plain.learners()[:BY_KERNEL]:
            for chapter in plain.chapters("release"):
                begin = perf_counter()
                if not run_step(plain, Autograde, chapter, learner).success:
                    sys.exit(f"{learner}, {chapter} could not be marked by nbgrader.")
                times.append(perf_counter() - begin)
        theirs = sum(times[1:]) / len(times[1:])
        print(
            f"a kernel for each    {theirs:7.3f} s a submission, of {len(times)} (the first {times[0]:.2f} s)"
        )
        print(f"ratio                {theirs / ours:7.1f} times as fast (aim: 25)")
        given, by_two, by_kernel = marks(course), marks(two), marks(plain)
        differ = [where for where in given if given[where] != by_two.get(where)]
        differ += [where for where in by_kernel if given[where] != by_kernel[where]]
        print(
            f"marks                {'NOT the same' if differ else 'the same'}: {len(given)}, {len(by_kernel)}"
        )
        for where in differ:
            print("   ", *where, given[where], by_two.get(where), by_kernel.get(where))


if __name__ == "__main__":
    main(*([int(sys.argv[1])] if sys.argv[1:] else []), *([tuple(sys.argv[2:])] if sys.argv[2:] else []))
