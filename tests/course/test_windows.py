"""What a Windows console or a file behind a > cannot write costs no message, and paths stay short."""

import json
import os
import subprocess
import sys

import pytest
from course_names import FORMS


def _optics(root, *words, encoding="cp1252"):
    environment = {**os.environ, "PYTHONIOENCODING": encoding, "PYTHONUTF8": "0"}
    return subprocess.run(
        [sys.executable, "-m", "optics", *words], cwd=root, env=environment, capture_output=True, check=False
    )  # fmt: skip


@pytest.mark.thorough
def test_no_name_stops_a_message(course, tmp_path, text_of):
    work = tmp_path / "Zoë Иванова 김민서"
    work.mkdir()
    (work / "a.ipynb").write_text(text_of("Иванова", convert_1='"½ ✓ 김"'), "utf-8")
    (work / "☃.pdf").write_bytes(b"x")
    for encoding in ("cp1252", "ascii", "cp437"):
        ran = _optics(course.root, "gather", str(work), "--preview", encoding=encoding)
        assert ran.returncode == 0, ran.stderr
        assert b"1 submission would be ready" in ran.stdout and b".pdf" in ran.stdout
    assert _optics(course.root, "gather", str(work)).returncode == 0
    ran = _optics(course.root, "mark")
    assert ran.returncode == 0 and b"1 of 1 submissions were marked." in ran.stdout, ran.stderr
    ran = _optics(course.root, "choose", "Ж", "91")
    assert ran.returncode == 2 and b"Nothing has come from" in ran.stderr


def test_paths_inside_a_course_stay_short(course, tmp_path, text_of):
    from optics.course.gather import gather

    folder = tmp_path / ("a long name of a folder as platforms make them " * 4)
    folder.mkdir()
    (folder / f"{'n' * 200}.ipynb").write_text(text_of("a" * 200), "utf-8")
    gather(course, [folder])
    longest = max(
        len(path.relative_to(course.root).as_posix()) for path in (course.root / "inbox").rglob("*")
    )
    longest = max(
        longest,
        *(len(path.relative_to(course.root).as_posix()) for path in (course.root / "submitted").rglob("*")),
    )
    # Windows stops at 260, and a course folder itself may take eighty.
    assert longest < 180
    assert (course.root / "release" / FORMS).is_dir()


# Every command but the two that open JupyterLab and the rehearsal, which is all of these, in the order of a course; {…} is filled in below.
COMMANDS = [
    ("class", "{list}", "--yes"),
    ("class",),
    ("intake", "Jař Łąka"),
    ("deadline", "2026-03-02 18:00", "91", "--learner", "t7"),
    ("release", "--replace"),
    ("make-class", "91", "--count", "2", "--into", "{made}"),
    ("gather", "{work}", "--preview"),
    ("gather", "{work}"),
    ("choose", "t7", "91"),
    ("rename", "t8", "Ďoríš Gőzné"),
    ("merge", "t8", "t9"),
    ("mark",),
    ("report",),
    ("key", "t7", "92"),
    ("hand-back",),
    ("kit", "register", "{kit}"),
    ("kit", "lend", "N-1", "t7"),
    ("kit", "labels"),
    ("kit", "worksheets"),
    ("remove", "t9"),
    ("draw", "power-cross", "-2.25 -0.75 x 015", "{work}/Łuk.png"),
    ("sheet", "draw-crosses", "{work}/Łuk.pdf", "--title", "Zkouška č. 1"),
    ("crib", "{work}/Łuk 2.pdf"),
    ("charts", "{work}/Łuk 3.pdf"),
]
# Bad input with names that the console cannot write: one sentence, status 2.
REFUSED = [
    ("as-read", "t7", "91"),
    ("as-read", "Łukáš", "92"),
    ("key", "t7", "Łąka"),
    ("choose", "Łukáš", "91"),
    ("rename", "Łukáš", "x"),
    ("kit", "lend", "Łuk", "t7"),
    ("release", "Łuk"),
    ("mark-mine", "{work}/není.ipynb"),
    ("mark-mine", "{mine}"),
    ("draw", "Łuk", "-2.25 DS", "{work}/x.png"),
    ("gather", "{work}/není"),
]
SCRIPT = """
import json, sys, warnings
# On Windows a file opened without saying how is read in the machine's own alphabet.
warnings.simplefilter("ignore", EncodingWarning)
warnings.filterwarnings("error", category=EncodingWarning, module=r"optics(\\.|$)")
from optics.cli import main
bad = []
for words, expected in json.loads(open(sys.argv[1], encoding="utf-8").read()):
    status = main(words)
    if status != expected: bad.append((ascii(words), status))
    print("done", flush=True)
sys.exit(ascii(bad) if bad else 0)
"""


@pytest.mark.thorough
def test_every_command_speaks_to_a_console_that_cannot_write_the_names(course, tmp_path, text_of):
    work = tmp_path / "Łuvrek Ďombrýk 김"
    work.mkdir()
    (work / "list.csv").write_text("id,name\nt7,Łuvrek Ďombrýk\nt8,Ďoríš Gőz\nt9,Žofín Ľub\n", "utf-8")
    (work / "kit.csv").write_text("number,right,left\nN-1,-2.25 -0.75 x 015,-2.00 DS\n", "utf-8")
    for who in ("Łuvrek Ďombrýk", "Ďoríš Gőz", "Иванова"):
        (work / f"{who}.ipynb").write_text(text_of(who, convert_1='"½ ✓ Ł"'), "utf-8")
    names = {"list": work / "list.csv", "kit": work / "kit.csv", "work": work, "mine": work / "Ďoríš Gőz.ipynb",
             "made": tmp_path / "vyrobené Ł"}  # fmt: skip
    jobs = [([word.format(**names) for word in each], 0) for each in COMMANDS]
    jobs += [([word.format(**names) for word in each], 2) for each in REFUSED]
    (tmp_path / "jobs.json").write_text(json.dumps(jobs), "utf-8")
    environment = {**os.environ, "PYTHONIOENCODING": "cp1252:strict", "PYTHONUTF8": "0", "PYTHONWARNDEFAULTENCODING": "1"}  # fmt: skip
    ran = subprocess.run(
        [sys.executable, "-c", SCRIPT, str(tmp_path / "jobs.json")],
        cwd=course.root, env=environment, capture_output=True, check=False,
    )  # fmt: skip
    assert ran.returncode == 0, ran.stderr.decode("cp1252", "replace")[-3000:]
    assert ran.stdout.count(b"done") == len(jobs)
    assert b"Traceback" not in ran.stderr
