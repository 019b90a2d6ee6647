"""A small course to test with: two chapters, made here, in a folder of its own."""

from __future__ import annotations

import json
import os
import shutil
import sys
from pathlib import Path

# Before NumPy is loaded: two workers share two cores, and its threads would only wait for each other
# (a look at a small picture took 15 ms with them and half a millisecond without).
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import nbformat
import pytest
from hypothesis import settings
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook

# Where tests of several rooms find what they share.
sys.path.insert(0, str(Path(__file__).parent))

# What is left out while one works at the desk: browsers, courses, notebooks, many pairs, long loops.
SLOW = {
    "browser",
    "course",
    "hub",
    "apprentices",
    "test_cli.py",
    "test_diagnosis.py",
    "test_drawing.py",
    "test_errands.py",
    "test_fair_marks.py",
    "test_made_pairs.py",
    "test_notebooks.py",
    "test_open_bench.py",
    "test_pairs.py",
    "test_panels.py",
    "test_progressive.py",
    "test_reader.py",
    "test_specimens.py",
    "test_whole_stop.py",
}

# Examples are the same in every run of these two, so that a change which is innocent is not refused for
# a case nobody had met before; the exhaustive run looks for new ones, which then become examples.
settings.register_profile("desk", deadline=None, max_examples=30, derandomize=True)
settings.register_profile("thorough", deadline=None, max_examples=200, derandomize=True)
settings.register_profile("exhaustive", deadline=None, max_examples=1000)
PROFILE = os.environ.get("OPTICS_TESTS", "desk")
# What needs a campus's services draws no cases of its own.
settings.load_profile("desk" if PROFILE == "campus" else PROFILE)


@pytest.fixture(scope="session")
def thorough():
    """Whether long loops run at their full length."""
    return PROFILE != "desk"


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """Give every browser test to one worker, and the rest to whoever is free.

    Two browsers at once would share a core, and what a hand does there is timed.
    """
    from xdist.scheduler import LoadScopeScheduling

    class OneBrowser(LoadScopeScheduling):
        def _split_scope(self, nodeid):
            if nodeid.startswith("tests/browser/"):
                return "browser"
            # What one file shares is dear to make in these two rooms, and would be made by both.
            shares = nodeid.startswith(("tests/course/", "tests/specimens/"))
            return nodeid.partition("::")[0] if shares else nodeid

    return OneBrowser(config, log)


def pytest_collection_modifyitems(config, items):
    """Mark the quick subset; leave the repetitions of a thorough run to that."""
    here = Path(__file__).parent
    left_out = {
        "desk": ("thorough", "exhaustive", "campus"),
        "thorough": ("exhaustive", "campus"),
        "exhaustive": ("campus",),
    }.get(PROFILE, ())
    longer = [item for item in items if any(map(item.get_closest_marker, left_out))]
    if PROFILE == "desk":
        longer += _beyond_the_sample(items)
    items[:] = [item for item in items if item not in set(longer)]
    config.hook.pytest_deselected(items=longer)
    for item in items:
        if not SLOW & set(item.path.relative_to(here).parts):
            item.add_marker(pytest.mark.quick)


def _beyond_the_sample(items):
    """Of the cases of one test that say so, all but every so many; the first is always among the kept."""
    cases = {}
    for item in items:
        if item.get_closest_marker("sampled"):
            cases.setdefault(item.nodeid.partition("[")[0], []).append(item)
    return [
        item
        for each in cases.values()
        for n, item in enumerate(each)
        if n % item.get_closest_marker("sampled").args[0]
    ]


from course_names import BENCH, FORMS, write_class_list  # noqa: E402

SECRET = "not a secret, only a test"


def _key(name: str, **flags: object) -> dict:
    key = {
        "grade": False,
        "solution": False,
        "locked": False,
        "task": False,
        "schema_version": 3,
        "grade_id": name,
    }
    return {"nbgrader": key | flags}


def _setup():
    return new_code_cell("from optics.lesson import *", id="setup", metadata=_key("setup", locked=True))


def _answer(name: str, answer: str, empty: str = '""'):
    variable = name.replace("-", "_")
    text = f"{variable} = {empty}\n### BEGIN SOLUTION\n{variable} = {answer}\n### END SOLUTION"
    return new_code_cell(text, id=name, metadata=_key(name, solution=True))


def _check(name: str, call: str, points: float, hidden: str = ""):
    if hidden:
        call += f"\n### BEGIN HIDDEN TESTS\n{hidden}\n### END HIDDEN TESTS"
    key = _key(f"{name}-check", grade=True, locked=True, points=points)
    return new_code_cell(call, id=f"{name}-check", metadata=key)


def forms_notebook():
    """Questions on paper, one of them with a written reason that is marked by hand."""
    convert = 'check.conversion(convert_1, given="+2.50 -1.50 x 170", to="plus", points=5)'
    along = 'check.meridian_power(along_1, given="+2.50 -1.50 x 170", meridian=80, points=2)'
    why = _key("why", grade=True, solution=True, points=2)
    cells = [
        new_markdown_cell("# Forms\n\nWrite each lens in the form asked for.", id="title"),
        _setup(),
        new_markdown_cell("Your name decides which pairs lie on your bench.", id="name-words"),
        _answer("learner", '"the instructor"'),
        new_markdown_cell("Write +2.50 -1.50 x 170 with plus cylinder.", id="convert-words"),
        _answer("convert-1", '"+1.00 +1.50 x 080"'),
        _check("convert-1", convert, 5),
        _answer("crossed-1", '"+1.00 x 170 / +2.50 x 080"'),
        new_code_cell(
            'check.crossed(crossed_1, given="+2.50 -1.50 x 170", points=0)',
            id="crossed-1-check",
            metadata=_key("crossed-1-check", locked=True),
        ),
        _answer("along-1", '"+1.00"'),
        _check("along-1", "check.recorded(convert_1)", 2, hidden=along),
        new_markdown_cell("Because they turn.", id="why", metadata=why),
        new_markdown_cell("That is all.", id="end"),
    ]
    return new_notebook(cells=cells, metadata={"kernelspec": {"name": "python3", "display_name": "Python 3"}})


def bench_notebook():
    """One unknown pair, read at the instrument."""
    call = 'check.reading(right_a, learner=learner, pair="A", eye="R", other=left_a, points=5)'
    cells = [
        new_markdown_cell("# The bench", id="title"),
        _setup(),
        _answer("learner", '"the instructor"'),
        new_code_cell('bench("A", learner)', id="bench"),
        _answer("right-a", '"read it at the bench"'),
        _answer("left-a", '"read it at the bench"'),
        _check("right-a", "check.recorded(right_a)", 5, hidden=call),
    ]
    return new_notebook(cells=cells, metadata={"kernelspec": {"name": "python3", "display_name": "Python 3"}})


def make_source(root: Path) -> None:
    """Write the two chapters' source into a course folder."""
    from optics.project_files import project_folder

    root.mkdir(parents=True, exist_ok=True)
    shutil.copy(project_folder("notebooks") / "nbgrader_config.py", root)
    for chapter, notebook in ((FORMS, forms_notebook()), (BENCH, bench_notebook())):
        folder = root / "source" / chapter
        folder.mkdir(parents=True)
        nbformat.write(notebook, folder / f"{chapter}.ipynb")
    briefs = {"A": {"strongest": 4.0, "cylinder": "always", "axes": "oblique"}}
    (root / "source" / BENCH / "pairs.json").write_text(json.dumps(briefs), "utf-8")


@pytest.fixture(scope="session")
def write_source():
    """Give `make_source` to tests whose folder has a conftest of its own."""
    return make_source


@pytest.fixture(scope="session")
def released_once(tmp_path_factory):
    """The course, released; shared by all tests, so never written to."""
    from optics.course.folder import open_course, start_intake
    from optics.course.release import release

    # A path with a space and a letter beyond ASCII, as on many learners' machines.
    root = tmp_path_factory.mktemp("courses") / "the course, größer"
    make_source(root)
    course = open_course(root)
    start_intake(course, "spring", secret=SECRET)
    release(course, variants=4)
    return course


@pytest.fixture
def course(released_once, tmp_path):
    """A copy of the released course for one test alone."""
    from optics.course.folder import open_course

    root = tmp_path / "course"
    shutil.copytree(released_once.root, root)
    return open_course(root)


@pytest.fixture(scope="session")
def fill():
    """Give a function that types answers, as text of Python, into a released notebook."""

    def typed(course, chapter: str, **answers: str):
        notebook = nbformat.read(course.notebook("release", chapter), as_version=4)
        for cell in notebook.cells:
            for name, text in answers.items():
                if cell.source.startswith(f"{name} = "):
                    cell.source = f"{name} = {text}"
                elif cell.id == name:
                    cell.source = text
        return notebook

    return typed


@pytest.fixture(scope="session")
def submit():
    """Give a function that puts a notebook, or any text, where submissions lie."""

    def put(course, learner: str, chapter: str, notebook) -> Path:
        path = course.notebook("submitted", chapter, learner)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(notebook if isinstance(notebook, str) else nbformat.writes(notebook), "utf-8")
        return path

    return put


@pytest.fixture
def marks_of():
    """Give a function that reads the gradebook: marks by question."""

    def read(course, learner: str, chapter: str) -> dict[str, float]:
        from optics.course.results import results

        found = results(course, [chapter])
        return {r.question: r.mark for r in found if r.learner == learner and not r.practice}

    return read


@pytest.fixture
def class_list(tmp_path):
    """A class list with the awkward cases: accents, a name within a name, two of one name."""
    return write_class_list(tmp_path / "class.csv")


@pytest.fixture
def text_of(course, fill):
    """Give a function that makes the text of a filled-in notebook."""

    def made(learner: str = "", chapter: str = FORMS, **answers: str) -> str:
        typed = {"learner": repr(learner), **answers} if learner else answers
        return nbformat.writes(fill(course, chapter, **typed))

    return made
