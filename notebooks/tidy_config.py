"""Puts a notebook into the one form in which it is kept.

    jupyter nbconvert --config notebooks/tidy_config.py --to notebook --inplace FILES

Outputs, counts, timestamps and whatever else an editor leaves behind are taken
out, so that a difference between two versions reads like prose.
"""

from nbconvert.preprocessors import ClearOutputPreprocessor, Preprocessor

KEPT = ("jupyter", "nbgrader", "tags")
LOCKS = ("editable", "deletable")
KERNEL = {"kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"}}


class Tidy(Preprocessor):
    """Keeps of a notebook's metadata only what the course uses."""

    enabled = True

    def preprocess(self, nb, resources):
        """Tidy the notebook and each of its cells."""
        nb.metadata = KERNEL
        nb.nbformat_minor = 5
        return super().preprocess(nb, resources)

    def preprocess_cell(self, cell, resources, index):
        """Tidy one cell."""
        cell.metadata = {
            key: value
            for key, value in cell.metadata.items()
            if (key in KEPT and value) or (key in LOCKS and value is False)
        }
        cell.source = "\n".join(line.rstrip() for line in cell.source.strip("\n").split("\n"))
        return cell, resources


c = get_config()  # noqa: F821 (given by nbconvert)
c.Exporter.preprocessors = [ClearOutputPreprocessor, Tidy]
c.ClearOutputPreprocessor.enabled = True
