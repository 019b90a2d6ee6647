"""What a Windows console or a file behind a > cannot write costs no message, and paths stay short."""

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
        assert b"1 submissions would be ready" in ran.stdout and b".pdf" in ran.stdout
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
