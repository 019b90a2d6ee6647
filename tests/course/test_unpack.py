"""Archives are opened without trusting them: no name reaches out, no size is believed."""

import io
import tracemalloc
import zipfile

import pytest

from optics.course import unpack
from optics.course.unpack import received


def _zip(path, files, time=(2026, 3, 2, 10, 0, 0)):
    with zipfile.ZipFile(path, "w") as archive:
        for name, data in files.items():
            entry = zipfile.ZipInfo(name, time)
            archive.writestr(entry, data)
    return path


def test_a_zip_bomb_is_not_swallowed(tmp_path, monkeypatch):
    monkeypatch.setattr(unpack, "MOST_BYTES", 1_000_000)
    path = tmp_path / "a.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("t101.ipynb", b"0" * 50_000_000)
        archive.writestr("t102.ipynb", b"{}")
    tracemalloc.start()
    files = list(received(path))
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert most < 10_000_000
    assert "larger than 1 MB" in files[0].trouble
    assert files[0].data == b""
    assert files[1].data == b"{}"


def test_too_many_files_and_too_deep_archives(tmp_path, monkeypatch):
    monkeypatch.setattr(unpack, "MOST_FILES", 3)
    files = list(received(_zip(tmp_path / "a.zip", {f"{n}.ipynb": b"{}" for n in range(9)})))
    assert len(files) == 4
    assert "more than a class hands in" in files[-1].trouble
    monkeypatch.undo()
    data = b"{}"
    for name in ("x.ipynb", "1.zip", "2.zip", "3.zip", "4.zip"):
        held = io.BytesIO()
        with zipfile.ZipFile(held, "w") as archive:
            archive.writestr(name, data)
        data = held.getvalue()
    (tmp_path / "b.zip").write_bytes(data)
    assert "archives within archives" in next(received(tmp_path / "b.zip")).trouble


def test_a_damaged_zip_and_a_locked_entry_are_told(tmp_path):
    broken = tmp_path / "broken.zip"
    broken.write_bytes(b"PK\x03\x04 and no more")
    assert "is not a zip that can be opened" in next(received(broken)).trouble
    path = _zip(tmp_path / "a.zip", {"t101.ipynb": b'{"nbformat": 4}', "t102.ipynb": b'{"nbformat": 4}'})
    data = bytearray(path.read_bytes())
    # A byte of the first entry's content turned over: its checksum no longer fits.
    data[data.index(b"nbformat")] ^= 0xFF
    # The bit that says "encrypted", in the second entry's record in the directory.
    second = data.index(b"PK\x01\x02", data.index(b"PK\x01\x02") + 1)
    data[second + 8] |= 1
    path.write_bytes(bytes(data))
    first, second = received(path)
    assert "is damaged inside the zip" in first.trouble
    assert "could not be taken out" in second.trouble


def test_links_in_a_folder_are_not_followed(tmp_path):
    (tmp_path / "in").mkdir()
    (tmp_path / "secret.ipynb").write_text("{}", "utf-8")
    try:
        (tmp_path / "in" / "t101.ipynb").symlink_to(tmp_path / "secret.ipynb")
    except OSError:
        pytest.skip("this machine makes no links")
    assert list(received(tmp_path / "in")) == []
