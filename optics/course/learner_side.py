"""What learners hold: one zip a release, with the chapters, their sealed pairs, and a package that cannot mark them.

The package in it is the learner's side of this one: bench, drawings, practice. What
releases, marks and solves stays with the instructor, and so do the chapters' solved
sources and the keys of the questions that are marked.
"""

from __future__ import annotations

import base64
import hashlib
import io
import json
import re
import tomllib
import zipfile
from collections.abc import Iterator
from html import escape
from importlib.metadata import PackageNotFoundError, metadata
from pathlib import Path

import nbformat

import optics
from optics.course.folder import Course, write_whole
from optics.course.handed_out import stamp_of
from optics.project_files import project_folder

TO_HAND_OUT = "to-hand-out"
# Of the course's room, only what opens JupyterLab.
LEARNERS_COURSE = ("__init__.py", "lab.py", "folder.py", "grader.py", "for_learners")
_QUESTION = re.compile(r'check\.choice\([^)]*?question="([^"]+)"[^)]*?points=([\d.]+)')
# A zip keeps this time for every file, so that the same release is the same zip.
SAME_TIME = (2020, 1, 1, 0, 0, 0)


def _marked_questions(course: Course) -> set[str]:
    """The choice questions that carry marks, as `chapter/name`."""
    found = set()
    for path in (course.root / "source").glob("*/*.ipynb"):
        for cell in nbformat.read(path, as_version=4).cells:
            found |= {name for name, points in _QUESTION.findall(cell.source) if float(points) > 0}
    return found


def _package_files() -> Iterator[tuple[str, bytes]]:
    root = Path(optics.__file__).parent
    for path in sorted(path for path in root.rglob("*") if path.is_file()):
        inside = path.relative_to(root)
        if "__pycache__" in inside.parts or inside.parts[0] == "_packed":
            continue
        if inside.parts[0] == "course" and inside.parts[1] not in LEARNERS_COURSE:
            continue
        yield f"optics/{inside.as_posix()}", path.read_bytes()


def _data_files(marked: set[str]) -> Iterator[tuple[str, bytes]]:
    root = project_folder("datasets")
    for path in sorted(path for path in root.rglob("*") if path.is_file()):
        data = path.read_bytes()
        if path.parent.name == "questions":
            kept = {
                name: {"letters": sorted({entry["right"], *entry["replies"]})}
                if f"{path.stem}/{name}" in marked
                else entry
                for name, entry in json.loads(data).items()
            }
            data = (json.dumps(kept, ensure_ascii=False, indent=1) + "\n").encode()
        yield f"optics/_packed/datasets/{path.relative_to(root).as_posix()}", data


def _described() -> tuple[str, str]:
    """Version and metadata of the package, of the checkout where it is not installed."""
    project = Path(optics.__file__).parents[1] / "pyproject.toml"
    if project.is_file():
        plain = tomllib.loads(project.read_text("utf-8"))["project"]
        needs, version, python = plain["dependencies"], plain["version"], plain["requires-python"]
    else:
        try:
            own = metadata("optics-workbook")
        except PackageNotFoundError:
            return "0", "Metadata-Version: 2.1\nName: optics-workbook\nVersion: 0+learner\n"
        needs = [need for need in own.get_all("Requires-Dist") or [] if "extra ==" not in need]
        version, python = own["Version"], own["Requires-Python"]
    lines = ["Metadata-Version: 2.1", "Name: optics-workbook", f"Version: {version}+learner"]
    lines += [f"Requires-Python: {python}", *(f"Requires-Dist: {need}" for need in needs)]
    return version, "\n".join(lines) + "\n"


def _zipped(files: dict[str, bytes]) -> bytes:
    whole = io.BytesIO()
    with zipfile.ZipFile(whole, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(zipfile.ZipInfo(name, SAME_TIME), data, zipfile.ZIP_DEFLATED)
    return whole.getvalue()


def learner_wheel(course: Course) -> tuple[str, bytes]:
    """The learner's side of this package, as a wheel that pip installs.

    Returns
    -------
    str
        Its file name.
    bytes
        Its content.
    """
    version, described = _described()
    files = dict(_package_files()) | dict(_data_files(_marked_questions(course)))
    info = f"optics_workbook-{version}+learner.dist-info"
    files[f"{info}/METADATA"] = described.encode()
    files[f"{info}/WHEEL"] = (
        b"Wheel-Version: 1.0\nGenerator: optics\nRoot-Is-Purelib: true\nTag: py3-none-any\n"
    )
    files[f"{info}/entry_points.txt"] = b"[console_scripts]\noptics = optics.cli:main\n"
    rows = []
    for name, data in files.items():
        digest = base64.urlsafe_b64encode(hashlib.sha256(data).digest()).rstrip(b"=").decode()
        rows.append(f"{name},sha256={digest},{len(data)}")
    files[f"{info}/RECORD"] = ("\n".join([*rows, f"{info}/RECORD,,"]) + "\n").encode()
    return f"optics_workbook-{version}+learner-py3-none-any.whl", _zipped(files)


def pack(course: Course) -> Path:
    """Pack one zip with everything that is released, ready to upload for a class.

    Returns
    -------
    Path
        The zip, in the course's folder `to-hand-out`, named after the intake.
    """
    wheel, data = learner_wheel(course)
    release = course.root / "release"
    # Another intake's release may lie beside, of a chapter that this one does not have.
    chapters = tuple(each for each in course.chapters("release") if _is_own(course, each))
    files = {"start-here.html": _start_page(course, chapters, wheel).encode(), wheel: data}
    for chapter in chapters:
        for path in sorted(path for path in (release / chapter).rglob("*") if path.is_file()):
            files[path.relative_to(release).as_posix()] = path.read_bytes()
    for path in sorted(course.root.glob("*.ipynb")):
        if "instructor" not in path.stem:
            files[path.name] = path.read_bytes()
    name = re.sub(r"[^a-z0-9]+", "-", course.intake.name.casefold()).strip("-")[:30] or "class"
    target = course.root / TO_HAND_OUT / f"{name}.zip"
    write_whole(target, _zipped(files))
    return target


def _is_own(course: Course, chapter: str) -> bool:
    """Whether a chapter was released for the intake in hand."""
    intake = course.intake
    released = json.loads(course.notebook("release", chapter).read_text("utf-8"))
    return chapter in (intake.chapters or (chapter,)) and stamp_of(released["metadata"]).intake in (
        "",
        intake.name,
    )


def _start_page(course: Course, chapters: tuple[str, ...], wheel: str) -> str:
    intake = course.intake
    rows = "".join(
        f"<li>{escape(chapter)}{f', due {escape(due)}' if (due := intake.deadline(chapter)) else ''}</li>"
        for chapter in chapters
    )
    return f"""<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>Your workbook</title>
<style>body {{ font: 1rem/1.6 system-ui, sans-serif; color: #111; max-width: 42em; margin: 2em auto; padding: 0 1em; }}
pre {{ background: #f4f4f4; padding: 0.6em 1em; white-space: pre-wrap; overflow-wrap: anywhere; }}</style></head>
<body><h1>Your workbook, {escape(intake.name)}</h1>
<ol>
<li>Unpack the zip into a folder of your own, and keep that folder.</li>
<li>You need Python 3.11 or newer. Open a terminal in the folder and type, once:
<pre>python -m pip install {escape(wheel)}</pre></li>
<li>Each day, in the same folder:
<pre>python -m optics learn</pre>
Your browser opens. Save with Ctrl-S; close with Ctrl-C in the terminal.</li>
<li>Type your name or number at the top of each chapter as your class list has it: your pairs belong to it.</li>
<li>Hand in the notebook of the chapter, the file ending in .ipynb, where you hand in everything else.</li>
</ol>
<p>Practice is answered at once. What carries marks is marked after you hand in, by your instructor.</p>
<h2>Chapters</h2><ul>{rows}</ul>
<p>A reading is not an eye examination. Rules for dispensing differ from place to place, and a licensed practitioner decides.</p>
</body></html>
"""
