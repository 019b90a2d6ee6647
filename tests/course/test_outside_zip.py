"""An instructor elsewhere: forty submissions in a platform's zip, no class list, Windows, and what learners do."""

import zipfile
from collections import Counter

import pytest
from course_names import FORMS

from optics.course.dates import date_in
from optics.course.gather import gather, ledger
from optics.course.marking import mark
from optics.course.names import sender_of
from optics.course.results import results

RIGHT, WRONG = '"+1.00 +1.50 x 080"', '"+1.00 +1.50 x 170"'
TOO_LATE_DAY = (2026, 4, 1, 12, 0, 0)  # the day of the download, on every file


@pytest.fixture
def forty(course, tmp_path, text_of):
    path = tmp_path / "Abgaben Frühjahr.zip"
    with zipfile.ZipFile(path, "w") as archive:

        def put(name, text):
            archive.writestr(zipfile.ZipInfo(name, TOO_LATE_DAY), text)

        for number in range(32):
            name = f"Lerner{chr(97 + number % 26)}{'x' * (number // 26)}, Ann"
            folder = f"{5000 + number}-{200 + number} - {name} - 2 March, 2026 905 AM"
            put(f"{folder}/{FORMS}.ipynb", text_of(convert_1=RIGHT, learner=f'"Ann {name}"'))
        odd = {
            # Two attempts, the newer first in the zip.
            "6001-1 - Vell, Tom - 3 March, 2026 1005 AM": ("twice", RIGHT, "Tom Vell"),
            "6001-1 - Vell, Tom - 2 March, 2026 1005 AM": ("twice", WRONG, "Tom Vell"),
            # Two of one name.
            "6002-1 - Stroud, Kim - 2 March, 2026 1005 AM": ("one", RIGHT, "Kim Stroud"),
            "6003-1 - Stroud, Kim - 2 March, 2026 1007 AM": ("other", WRONG, "Kim Stroud"),
            # Says inside that it is Tom Vell.
            "6004-1 - Marsh, Ada - 4 March, 2026 100 PM": ("posing", WRONG, "Tom Vell"),
            # Of the names that Windows keeps for itself.
            "6005-1 - Con, Aux - 4 March, 2026 100 PM": ("reserved", RIGHT, "Aux Con"),
            "6006-1 - NUL - 4 March, 2026 100 PM": ("reserved", RIGHT, "NUL"),
            "6007-1 - Ünal, Zoë - 4 March, 2026 100 PM": ("beyond ASCII", RIGHT, "Zoë Ünal"),
        }
        for folder, (_, answer, typed) in odd.items():
            put(f"{folder}/{FORMS}.ipynb", text_of(convert_1=answer, learner=f'"{typed}"'))
        put("index.html", "<p>40 submissions</p>")
    return path


def test_forty_without_a_list_lose_nobody_and_mix_nobody(course, forty):
    seen = gather(course, [forty], preview=True)
    assert "Sent 2026-03-02 09:05:00." in str(seen)  # and not the day of the download
    assert not (course.root / "inbox").exists()
    told = gather(course, [forty])
    assert (len(told.taken), len(told.kept_aside), len(told.unsettled)) == (37, 1, 3)
    assert "1 other" not in str(told) and '"index.html" is no notebook' in str(told)
    (aside,) = told.kept_aside
    assert aside == f"tom-vell, {FORMS}: an older version was kept aside."
    # The second of one name, and who says inside to be somebody else, wait for a look.
    waiting = "\n".join(told.unsettled)
    assert "6003-1 - Stroud, Kim" in waiting and "6004-1 - Marsh, Ada" in waiting
    rows = ledger(course)
    assert Counter(bool(row["learner"]) for row in rows) == {True: 38, False: 2}
    done = mark(course)
    assert len(done) == 37 and all(each.marked for each in done)
    marks = {r.learner: r.mark for r in results(course) if r.question == "convert-1-check"}
    assert set(marks.values()) == {5.0}
    assert {"tom-vell", "kim-stroud", "aux-con", "x-nul", "zoe-unal"} < set(marks)
    # Once it is known whose it is, it is taken; the others stay as they are.
    lone = [course.root / row["file"] for row in rows if "6003" in row["came as"]]
    gather(course, lone, learner="kim-stroud-2")
    row = ledger(course)[-1]
    assert (row["sent"], row["sender"]) == ("2026-03-02 10:07:00", "6003 1 stroud kim")
    (late,) = mark(course)
    assert late.learner == "kim-stroud-2"
    assert len({r.learner for r in results(course)}) == 38
    again = gather(course, [forty])
    assert not again.taken


@pytest.mark.parametrize(
    ("name", "moment"),
    [
        ("5000-200 - Vell, Tom - 2 March, 2026 905 AM/a.ipynb", "2026-03-02 09:05"),
        ("5000-200 - Vell, Tom - 2 March, 2026 1205 AM/a.ipynb", "2026-03-02 00:05"),
        ("5000-200 - Vell, Tom - 31 Dec 2026 0105 PM/a.ipynb", "2026-12-31 13:05"),
        ("Vell_Tom_Mar 2, 2026 at 21.05/a.ipynb", "2026-03-02 21:05"),
        ("Vell_Tom_March-2nd-2026/a.ipynb", "2026-03-02 00:00"),
        ("2026-03-02 2105 Vell/a.ipynb", "2026-03-02 21:05"),
        ("March 2, 2026/2026-03-04/a.ipynb", "2026-03-04 00:00"),
        ("31 February 2026/a.ipynb", ""),
        ("April May 2026/a.ipynb", ""),
        ("Vell, June 12/a.ipynb", ""),
    ],
)
def test_dates_in_names_in_figures_and_in_words(name, moment):
    found = date_in(name)
    assert (f"{found:%Y-%m-%d %H:%M}" if found else "") == moment


def test_two_attempts_in_folders_with_dates_are_one_senders():
    first, second = (f"6001-1 - Vell, Tom - {day} March, 2026 1005 AM/{FORMS}.ipynb" for day in (2, 3))
    assert sender_of(first, (FORMS,)) == sender_of(second, (FORMS,)) != ""
    assert sender_of(first.replace("Vell", "Marsh"), (FORMS,)) != sender_of(first, (FORMS,))
