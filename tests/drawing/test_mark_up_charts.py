"""Printed charts are true to the millimetre: measured on the page, against the table of designs.

Rings 34 mm apart: "Ophthalmic Lenses" (textbook), p. 136 (read).
"""

import csv

import numpy as np
import pytest

from optics.cli import main
from optics.drawing.mark_up_charts import mark_up_charts
from optics.project_files import project_folder

PAPER_MM = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}


def on_paper(figure):
    """Everything drawn, by its name: points on the printed page, millimetres from its lower left."""
    found = {}
    for line in figure.axes[0].lines:
        points = line.get_transform().transform(line.get_xydata()) / figure.dpi * 25.4
        found.setdefault(line.get_gid(), []).append(points)
    return found


def middle(points):
    return (points.min(0) + points.max(0)) / 2


@pytest.mark.parametrize("paper", PAPER_MM)
def test_charts_stand_at_true_size(paper):
    figure = mark_up_charts(paper).figure
    width, height = figure.get_size_inches() * 25.4
    assert (width, height) == pytest.approx(PAPER_MM[paper], abs=0.1)
    drawn = on_paper(figure)
    (check,) = drawn["check line"]
    assert np.ptp(check[:, 0]) == pytest.approx(100.0, abs=0.01) and np.ptp(check[:, 1]) == 0.0
    rows = list(csv.DictReader((project_folder("datasets") / "charts" / "designs.csv").open()))
    assert len(rows) == 4
    for row in rows:
        cross, corridor, inset = (
            float(row[name]) for name in ("fitting_cross_mm", "corridor_mm", "inset_mm")
        )
        for eye, nose in (("R", 1.0), ("L", -1.0)):
            name = f"{row['sign']} {eye} "
            one, other = map(middle, drawn[name + "circle for a ring"])
            assert other - one == pytest.approx([34.0, 0.0], abs=0.01)
            origin = (one + other) / 2
            (near,), (far,) = drawn[name + "near circle"], drawn[name + "distance circle"]
            # The near circle lies 2 mm below the corridor's end, the distance circle 4 mm over the cross.
            assert middle(near) - origin == pytest.approx([nose * inset, cross - corridor - 2.0], abs=0.01)
            assert middle(far) - origin == pytest.approx([0.0, cross + 4.0], abs=0.01)
    everything = np.vstack([points for lines in drawn.values() for points in lines])
    assert everything.min() > 10.0 and (everything.max(0) < [width - 10.0, height - 10.0]).all()


@pytest.mark.parametrize("paper", PAPER_MM)
def test_no_word_runs_off_the_page(paper):
    figure = mark_up_charts(paper).figure
    figure.canvas.draw()
    words = [*figure.texts, *figure.axes[0].texts]
    assert len(words) > 20
    for text in words:
        box = text.get_window_extent().extents / figure.dpi * 25.4
        assert 8.0 < box[0] < box[2] < PAPER_MM[paper][0] - 8.0, text.get_text()
        assert 8.0 < box[1] < box[3] < PAPER_MM[paper][1] - 8.0, text.get_text()


def test_the_command_writes_one_page(tmp_path, capsys):
    target = tmp_path / "charts.pdf"
    assert main(["charts", str(target), "--paper", "Letter"]) == 0
    assert "Print at 100 %" in capsys.readouterr().out
    content = target.read_bytes()
    assert content.startswith(b"%PDF") and b"/MediaBox [ 0 0 612 792 ]" in content
