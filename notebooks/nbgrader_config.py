"""How nbgrader runs this course, from the command line and in formgrader alike."""

from pathlib import Path

import nbgrader
import nbgrader.apps.api
from nbconvert.preprocessors import CSSHTMLHeaderPreprocessor
from nbgrader.converters import GenerateAssignment
from nbgrader.preprocessors import (
    AssignLatePenalties,
    GetGrades,
    LimitOutput,
    OverwriteCells,
    SaveAutoGrades,
)

from optics.course.choices import InChosenPoints, TellsBothScales
from optics.course.exchange import CollectOwn
from optics.course.marking import CheckAnswers
from optics.course.overview import overview
from optics.course.pages import TEMPLATES, cleaned, markdown_cleaned
from optics.course.release import LockProse, ReleaseFromFormgrader
from optics.course.repair import PutIntoRelease

c = get_config()  # noqa: F821 (given by nbgrader)

# An untouched answer cell runs without an error: the gap is a comment.
c.ClearSolutions.code_stub = {"python": "# Your answer goes between the quotation marks above."}
c.ClearSolutions.text_stub = "Write your answer here."

# A learner writes between quotes; the words around them are locked.
_STEPS = GenerateAssignment.class_traits()["preprocessors"].default()
c.GenerateAssignment.preprocessors = [LockProse, *_STEPS]

# A release from formgrader is sealed, stamped and looked through as one from the command line.
nbgrader.apps.api.GenerateAssignment = ReleaseFromFormgrader

# The briefs of the unknown pairs stay with the instructor; the sealed pairs go out.
c.CourseDirectory.ignore = [".ipynb_checkpoints", "*.pyc", "__pycache__", "feedback", "pairs.json"]

# A submission's answers are put into the released notebook, so that whatever was
# copied, deleted or altered around them does not matter; then the hidden checks come
# in. The cells' keys are the release's own and were checked there.
c.Autograde.sanitize_preprocessors = [PutIntoRelease, OverwriteCells]
c.OverwriteCells.add_missing_cells = True

# Answers are read, never run. No kernel is started.
c.Autograde.autograde_preprocessors = [CheckAnswers, LimitOutput, SaveAutoGrades, AssignLatePenalties]

# Feedback tells marks in the points that the intake chose.
c.GenerateFeedback.preprocessors = [GetGrades, InChosenPoints, CSSHTMLHeaderPreprocessor]
# Formgrader's gradebook keeps one number for everybody, and says where an intake chose another.
c.HTMLExporter.preprocessors = [TellsBothScales]

# From an exchange, only what is the learner's own is collected.
c.ExchangeFactory.collect = CollectOwn

# Pages made from submissions hold no scripts and ask no other host for anything.
_FORMGRADER = Path(nbgrader.__file__).parent / "server_extensions" / "formgrader" / "templates"
c.HTMLExporter.sanitize_html = True
c.HTMLExporter.filters = {"markdown2html": markdown_cleaned, "clean_html": cleaned, "overview": overview}
c.HTMLExporter.extra_template_basedirs = [str(TEMPLATES), str(_FORMGRADER)]
