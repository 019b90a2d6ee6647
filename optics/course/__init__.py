"""The course: release chapters, gather and mark what comes back, report, hand back.

Everything rests on nbgrader: its folders, gradebook, formgrader and feedback.
Two things are done differently, because a class is not made of programmers and
a submission is not to be trusted:

- a submission is never marked as it stands. The released notebook is taken
  again and the learner's answers are put into it (`optics.course.repair`);
- nothing a submission contains is ever executed. Answers are read as plain
  values (`optics.course.reading`) and only the instructor's own locked cells are
  run (`optics.course.marking`).
"""
